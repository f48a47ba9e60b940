"""Carriers: files as people keep them, up to rows of cells and lines of fields."""
