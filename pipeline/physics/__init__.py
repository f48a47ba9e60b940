"""Humid air, correction standards and handbook engine quantities: pure functions of numbers."""
