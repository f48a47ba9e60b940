"""Answers as self-contained pages for a customer."""
