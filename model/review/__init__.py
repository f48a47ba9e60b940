"""Whether a new model should replace the old one."""
