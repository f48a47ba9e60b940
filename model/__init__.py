"""The model: what it learns, what it answers, and how sure it is."""
