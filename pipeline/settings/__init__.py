"""What a shop says once about all its sheets: one file of settings in their folder."""
