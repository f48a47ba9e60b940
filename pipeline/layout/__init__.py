"""Where the fields and the pulls of sheets are, in rows of cells as people lay them out."""
