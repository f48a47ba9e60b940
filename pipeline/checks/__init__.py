"""What is wrong or doubtful about a sheet, by itself and beside others."""
