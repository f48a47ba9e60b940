"""Check a sheet for what is wrong or doubtful, by itself and against other sheets."""
