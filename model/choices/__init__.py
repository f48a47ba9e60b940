"""What to build: a field varied, a parts list ranked, the tested range searched."""
