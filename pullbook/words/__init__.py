"""How numbers, units and the promise of an interval are said, in every text, picture and page."""
