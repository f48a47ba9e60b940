"""A person's folder and the model that answers: sheets, builds and models as plain files."""
