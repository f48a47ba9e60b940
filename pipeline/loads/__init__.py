"""What an engine must drive: a propeller, a tow, or a table of torque over engine speed."""
