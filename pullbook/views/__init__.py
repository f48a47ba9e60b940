"""What the page shows: one module a view, each a view of the same functions as the command line."""
