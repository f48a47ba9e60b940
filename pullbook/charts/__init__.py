"""Answers as charts."""
