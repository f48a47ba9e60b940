"""Answers as self-contained pages to hand to a customer."""
