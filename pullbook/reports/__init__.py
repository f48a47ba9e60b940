"""Report pages about a data set or a model."""
