"""The command line: a command parses, calls and prints."""
