"""The learners, and the readings they are fitted to."""
