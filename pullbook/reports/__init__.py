"""Pages about a data set or a model."""
