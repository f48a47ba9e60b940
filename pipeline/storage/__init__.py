"""Files and texts of strangers, and records: read bounded, written whole, printed plainly."""
