"""Pure functions of numbers: humid air, correction standards and engine quantities."""
