"""Fit, hold out, calibrate, and write a bundle."""
