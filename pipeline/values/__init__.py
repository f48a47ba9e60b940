"""One cell of text into one typed value: headings, numerals, units."""
