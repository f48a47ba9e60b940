"""The fair test: error and coverage on held-out sheets."""
