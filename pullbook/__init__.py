"""The command line of pullbook."""
