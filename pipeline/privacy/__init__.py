"""What leaves the shop and under which code, and how it is withdrawn."""
