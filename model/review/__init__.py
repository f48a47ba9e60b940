"""Whether a new model deserves to replace the old one."""
