"""What a chart shows, in units of its axes: whoever writes it, as SVG or with matplotlib."""

from __future__ import annotations

from dataclasses import dataclass

#: Teal, rust, slate blue and ochre: different in grey print and to most colour-blind readers;
#: each build also has its own kind of line.
COLOURS = ("#0f6b66", "#a8471f", "#3d4f91", "#8a6d00")
#: Lengths of line and gap in points, by the same place; none for a whole line.
DASHES: tuple[tuple[float, ...], ...] = ((), (12, 4), (4, 3), (14, 4, 3, 4))
GREY, INK = "#8b9096", "#20262b"
#: Styles of what belongs to no build: a difference of two, a load, a measured pull, all in ink; and
#: in grey one of many curves that stand between two others.
NEUTRAL, LOAD, MEASURED, BETWEEN = -1, -2, -3, -4
#: The line of what stands outside the data.
OUTSIDE: tuple[float, ...] = (1.5, 3)
_INK_DASHES: dict[int, tuple[float, ...]] = {LOAD: (2, 4), MEASURED: (10, 3, 2, 3, 2, 3)}

Numbers = tuple[float, ...]


def dashes(style: int) -> tuple[float, ...]:
    """Return lengths of line and gap of a style in points; none for a whole line."""
    return _INK_DASHES.get(style, ()) if style < 0 else DASHES[style]


@dataclass(frozen=True, slots=True)
class Curve:
    """A line over engine speed.

    Attributes
    ----------
    x, y
        Its points; where ``y`` is not a number the line is broken.
    low, high
        Limits at the same places; empty without limits.
    style
        Place in `COLOURS` and `DASHES`, or `NEUTRAL`, `LOAD` or `MEASURED`.
    label, at
        What stands at the line, and at which share of its length.
    below
        Whether the label stands below the line.
    name
        What the legend says; empty for a line that is not in it.
    right
        Whether it goes with the axis on the right.
    filled
        Whether the room between the limits is shaded; if not, they are lines in the curve's dashes,
        so that two that cross can be told apart in grey print.
    joined, dots
        Whether its points are joined by a line, and whether each has a dot.
    outside
        Whether it stands outside the data, and is dotted.
    """

    x: Numbers
    y: Numbers
    low: Numbers = ()
    high: Numbers = ()
    style: int = 0
    label: str = ""
    at: float = 0.5
    name: str = ""
    right: bool = False
    below: bool = False
    filled: bool = True
    joined: bool = True
    dots: bool = False
    outside: bool = False

    @property
    def dashes(self) -> tuple[float, ...]:
        """Lengths of line and gap in points; none for a whole line."""
        return OUTSIDE if self.outside else dashes(self.style)

    @property
    def thick(self) -> float:
        """The width of its line in points."""
        return 1.2 if self.style == BETWEEN else 2.4

    @property
    def named(self) -> str:
        """The build of a label that is a letter: ``A: river six``; empty for another label."""
        if not (self.label and self.name.startswith(self.label)):
            return ""
        return f"{self.label}: {self.name.removeprefix(self.label).strip()}"


@dataclass(frozen=True, slots=True)
class Mark:
    """A point on a curve, named or not; ``name`` is what the legend says of its text."""

    x: float
    y: float
    text: str = ""
    style: int = 0
    side: str = "middle"
    right: bool = False
    name: str = ""


@dataclass(frozen=True, slots=True)
class Points:
    """Points of one kind on axes that are no engine speed.

    Attributes
    ----------
    x, y
        Their places.
    shape
        ``circle``, ``cross``, ``triangle`` or ``star``.
    style, name
        As of a curve.
    limits
        Left, right, low and high end of a cross of limits around the first one.
    """

    x: Numbers
    y: Numbers
    shape: str = "circle"
    style: int = 0
    name: str = ""
    limits: tuple[float, float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Region:
    """Engine speeds that are marked over the whole height: hatched as not tested, or grey."""

    left: float
    right: float
    text: str = ""
    hatched: bool = True


@dataclass(frozen=True, slots=True)
class Bar:
    """A bar from zero with its limits.

    Attributes
    ----------
    name, value
        What it is of, and its length.
    low, high
        Its limits, if it has some.
    hollow
        Whether it is of what is left, and not filled.
    behind
        The length of a pale bar behind it, if there is one.
    """

    name: str
    value: float
    low: float | None = None
    high: float | None = None
    hollow: bool = False
    behind: float | None = None


@dataclass(frozen=True, slots=True)
class Panel:
    """One pair of axes: curves or points, or bars.

    Attributes
    ----------
    title
        What the axis says: that of the height, or of the length of bars.
    x_title
        What the axis along the bottom says, where it is not engine speed.
    right_title
        What the axis on the right says; empty where there is none.
    same_scale
        Whether both axes have the same numbers.
    zero
        Whether a line marks zero.
    height
        The ends of the axis, where what is drawn is not to settle them.
    """

    title: str
    curves: tuple[Curve, ...] = ()
    marks: tuple[Mark, ...] = ()
    regions: tuple[Region, ...] = ()
    bars: tuple[Bar, ...] = ()
    points: tuple[Points, ...] = ()
    right_title: str = ""
    same_scale: bool = False
    zero: bool = False
    x_title: str = ""
    height: tuple[float, float] | None = None

    @property
    def named(self) -> list[Curve | Points | Mark]:
        """What a legend of it names."""
        every: list[Curve | Points | Mark] = [*self.curves, *self.points, *self.marks]
        return [one for one in every if one.name]


@dataclass(frozen=True, slots=True)
class Chart:
    """Panels over one engine speed or axes of their own, with a title and what stands below it.

    Attributes
    ----------
    alt
        Says in a sentence what is to be seen, for who cannot see it.
    columns
        How many panels stand side by side where there is room.
    key
        Whether the drawing of a page has a legend, and nothing to be read off at an engine speed;
        without one its lines are named where they run.
    """

    title: str
    notes: tuple[str, ...]
    panels: tuple[Panel, ...]
    alt: str = ""
    x_title: str = "engine speed, rpm"
    columns: int = 1
    key: bool = False

    @property
    def speeds(self) -> tuple[float, float]:
        """The lowest and the highest engine speed of all curves over it."""
        over = (panel for panel in self.panels if not panel.x_title)
        every = [x for panel in over for curve in panel.curves for x in curve.x]
        return (min(every), max(every)) if every else (0.0, 1.0)

    @property
    def caption(self) -> str:
        """Which build each letter is, and what the chart shows."""
        named = [curve.named for curve in self.panels[0].curves if curve.named]
        return "; ".join([*named, *self.notes])
