"""The sizes of a drawing in SVG, and how numbers become places in it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Shape:
    """Sizes of a drawing, in its own units, of which a browser shows one a pixel at full size."""

    name: str
    width: float
    height: float
    left: float
    right: float
    font: float
    marks: int


WIDE = Shape("wide", 760, 330, 58, 18, 13, 9)
NARROW = Shape("narrow", 344, 236, 44, 18, 12, 5)


@dataclass(frozen=True, slots=True)
class Frame:
    """Where a panel stands between its edges, and how numbers become places in it."""

    shape: Shape
    x: tuple[float, float]
    y: tuple[float, float]
    top: float
    height: float
    left: float
    edge: float

    def across(self, x: float) -> float:
        """Return the place of an engine speed."""
        low, high = self.x
        return self.left + (x - low) / ((high - low) or 1.0) * (self.edge - self.left)

    def down(self, y: float) -> float:
        """Return the place of a height."""
        low, high = self.y
        return self.top + self.height - (y - low) / ((high - low) or 1.0) * self.height
