"""Every question a builder asks, one module a question."""
