"""How numbers, units, dates, words and headings are written, and what they mean."""
