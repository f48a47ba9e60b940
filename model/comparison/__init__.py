"""Differences of builds: predicted or measured, over a band, and what makes them."""
