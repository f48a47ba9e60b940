"""Training: fit, hold out, calibrate, and write a bundle."""
