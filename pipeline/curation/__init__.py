"""Contributed sheets into one comparable data set."""
