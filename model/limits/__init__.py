"""Error bars: how large errors of held-out sheets are, and the limits that follow."""
