"""The model: whole torque curves of builds, with limits that are calibrated over shops."""
