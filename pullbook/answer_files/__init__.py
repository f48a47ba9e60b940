"""Answers written to files for a spreadsheet or to keep, and read again."""
