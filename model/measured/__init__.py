"""Measured pulls of the engine asked about, and what they tell of it."""
