"""From the text of one cell to one typed value: headings, numbers, units."""
