"""A trained model, and what it and measured pulls know of the engine asked about."""
