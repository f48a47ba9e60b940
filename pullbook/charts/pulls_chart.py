"""The pulls of a folder laid over one another by family; what stands out is marked."""

from __future__ import annotations

from statistics import median
from typing import TYPE_CHECKING

from pullbook.pipeline.physics.correction_factors import REFERENCE
from pullbook.words.figures import counted

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from pullbook.pipeline.checks.standing_out import Laid

_MOST_FAMILIES, _MOST_NAMED = 8, 3
_HEIGHT = 2.3
#: The axis ends at this many times the median of the highest torques; what is above is at its top.
_HIGHEST = 2.0


def draw(laid: Sequence[Laid], path: Path) -> None:
    """Draw pulls into a file that ends in ``.svg``, ``.png`` or ``.pdf``."""
    import matplotlib as mpl

    from pullbook.charts import drawing

    with mpl.rc_context(drawing.STYLE):
        drawing.save(figure(laid), path)


def figure(laid: Sequence[Laid]) -> Figure:
    """Return a panel for each family, the largest ones first, the rest of them together."""
    from pullbook.charts import drawing

    groups = _groups(laid)
    drawn = drawing.rows(len(groups), _HEIGHT)
    best = [max(one.specific) for one in laid] or [1.0]
    top = min(1.1 * max(best), _HIGHEST * median(best))
    for axes, (family, own) in zip(drawn.axes, groups, strict=True):
        _panel(axes, family, own, top)
    drawn.axes[-1].set_xlabel("engine speed, rpm")
    out = sum(one.off != 0 for one in laid)
    stands = f"{counted(out, 'pull')} named: unlike the rest" if out else "none stands out"
    drawing.title(
        drawn,
        drawn.axes[0],
        f"{counted(len(laid), 'pull')} by engine family",
        f"lb-ft for each cubic inch, {REFERENCE}\n{stands}",
    )
    return drawn


def _groups(laid: Sequence[Laid]) -> list[tuple[str, list[Laid]]]:
    families: dict[str, list[Laid]] = {}
    for one in laid:
        families.setdefault(one.family or "no family given", []).append(one)
    ranked = sorted(families.items(), key=lambda item: (-len(item[1]), item[0]))
    shown, rest = ranked[:_MOST_FAMILIES], ranked[_MOST_FAMILIES:]
    if rest:
        shown.append((f"{len(rest)} more families", [one for _, own in rest for one in own]))
    return shown or [("no pull of an engine of known size", [])]


def _panel(axes: Axes, family: str, own: list[Laid], top: float) -> None:
    from pullbook.charts import drawing

    axes.set_ylim(0, top)
    axes.grid(axis="y", color="#e3e6e8", linewidth=0.8)
    axes.text(0.99, 0.04, f"{family} ({len(own)})", transform=axes.transAxes, ha="right",
              fontsize=10, fontweight="bold")  # fmt: skip
    for one in own:
        if not one.off:
            axes.plot(one.rpm, one.specific, color=drawing.COLOURS[0], linewidth=0.9, alpha=0.55)
    out = sorted((one for one in own if one.off), key=lambda one: -abs(one.off))
    for place, one in enumerate(out):
        shown = [min(specific, 0.97 * top) for specific in one.specific]
        axes.plot(one.rpm, shown, color=drawing.COLOURS[1], linewidth=1.8,
                  linestyle=drawing.LINES[1 + place % (len(drawing.LINES) - 1)])  # fmt: skip
        if place < _MOST_NAMED:
            at = place * len(shown) // (_MOST_NAMED + 1)
            below = shown[at] > 0.85 * top
            axes.annotate(
                f"{one.sheet_id} {_how_far(one.off)}", (one.rpm[at], shown[at]),
                xytext=(0, -5 if below else 5 + 9 * (place % 2)), textcoords="offset points",
                fontsize=9, va="top" if below else "bottom", color=drawing.COLOURS[1],
            )  # fmt: skip


def _how_far(off: float) -> str:
    """Return how far a pull is from its like: in percent, or as a multiple where it is far."""
    return f"{100 * off:+.0f} %" if off < 1 else f"{1 + off:.0f} times"
