"""What leaves the shop, under which code, and how it is taken back."""
