"""Predicting: one build, one prediction, which every answer is a view of."""
