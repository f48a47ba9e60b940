"""Error bars: the errors of held-out sheets, and the limits that follow from them."""
