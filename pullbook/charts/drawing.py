"""What all charts share: colours, lines, sizes, titles; for print and for a phone."""

from __future__ import annotations

import io
import re
import warnings
from typing import TYPE_CHECKING, Any

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from pullbook.drawings.chart import COLOURS, DASHES, GREY, INK
from pullbook.pipeline.storage import whole_writes
from pullbook.words.line_breaks import broken

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


__all__ = ["COLOURS", "GREY", "INK"]

#: Width of every chart, inches; on a phone, at three quarters of it, its text can still be read.
WIDTH = 5.0
#: Height of a bar and its space, inches.
_BAR = 0.3
#: Characters of a line of a title, and of what stands below it.
_TITLE, _BELOW, _PAGE = 36, 58, 50
#: The longest name of a legend in two columns, characters; most marks on an axis of speed.
_HALF_LINE, _MOST_MARKS = 30, 6
#: Characters of a line of a legend.
_LEGEND = 66
#: Length of a line in a legend, in sizes of its font: two dashes and the space between them.
_HANDLE = 3.2
STYLE: Any = {
    "font.size": 11,
    "axes.edgecolor": GREY,
    "axes.labelcolor": INK,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "svg.hashsalt": "pullbook",
    "text.parse_math": False,  # a name is shown as it is
    "svg.fonttype": "none",  # text stays text: to be found, read aloud, and small
    "font.sans-serif": ["DejaVu Sans", "Verdana", "Arial"],
}
#: Nothing that changes from run to run goes into a chart.
_METADATA: dict[str, dict[str, Any]] = {
    ".pdf": {"CreationDate": None, "Creator": "pullbook"},
    ".png": {"Software": "pullbook"},
}


def line_of(lengths: Sequence[float]) -> Any:
    """Return dashes as matplotlib takes them, in widths of a line; no lengths for a whole line."""
    return (0, tuple(length / 2 for length in lengths)) if lengths else "-"


#: The lines of builds.
LINES = tuple(map(line_of, DASHES))


def filled(text: str, width: int) -> str:
    """Return a text broken into lines of so many characters."""
    return "\n".join(broken(text, width))


def save(figure: Figure, path: Path) -> None:
    """Write a figure into a file, the same each time, whole or not at all."""
    kind = path.suffix.casefold()
    if kind == ".svg":
        whole_writes.write(path, svg_of(figure))
        return
    out = io.BytesIO()
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph")  # a name the font lacks a sign of
        figure.savefig(out, format=kind[1:], dpi=160, metadata=_METADATA[kind])
    whole_writes.write(path, out.getvalue())


def panels(heights: Sequence[float], *, shared: bool) -> tuple[Figure, Sequence[Axes]]:
    """Return a figure of panels of so many inches, for print and for a phone.

    ``shared``: the first two are over one engine speed, which the second one says.
    """
    figure = Figure(figsize=(WIDTH, 0.7 + sum(heights)), layout="constrained")
    FigureCanvasAgg(figure)
    places = figure.subplots(len(heights), 1, height_ratios=heights)
    if shared:
        places[0].sharex(places[1])
        places[0].tick_params(labelbottom=False)
    for axes in places:
        axes.grid(axis="y", color="#e3e6e8", linewidth=0.8)
        axes.set_axisbelow(True)
        axes.margins(x=0.02)
        axes.locator_params(axis="x", nbins=_MOST_MARKS)
    return figure, places


def grid(number: int, columns: int) -> tuple[Figure, Sequence[Axes]]:
    """Return a figure of small panels over one engine speed, side by side."""
    deep = -(-number // columns)
    figure = Figure(figsize=(WIDTH, max(4.4, 2.0 * deep)), layout="constrained")
    FigureCanvasAgg(figure)
    places = figure.subplots(deep, min(columns, number), sharex=True, squeeze=False).ravel()
    for at, spare in enumerate(places[number:], number):
        spare.set_axis_off()
        places[at - columns].tick_params(labelbottom=True)
    return figure, list(places)


def of_bars(number: int) -> float:
    """Return the height of a panel of so many bars, inches."""
    return _BAR * (number + 1) + 0.4


def rows(number: int, height: float) -> Figure:
    """Return a figure of panels one below another, each so many inches high, over one speed."""
    figure = Figure(figsize=(WIDTH, 1.2 + number * height), layout="constrained")
    FigureCanvasAgg(figure)
    figure.subplots(number, 1, sharex=True, squeeze=False)
    return figure


def panel(height: float) -> tuple[Figure, Axes]:
    """Return a figure of one panel of so many inches."""
    figure = Figure(figsize=(WIDTH, height), layout="constrained")
    FigureCanvasAgg(figure)
    return figure, figure.subplots()


def legend(figure: Figure, panels: Sequence[Axes]) -> None:
    """Put the legend of panels below the figure, where it covers nothing."""
    found = [axes.get_legend_handles_labels() for axes in panels]
    handles = [one for signs, _ in found for one in signs]
    labels = [one for _, names in found for one in names]
    longest = max(map(len, labels))
    columns = 2 if longest <= _HALF_LINE else 1
    figure.legend(handles, [filled(one, _LEGEND) for one in labels], fontsize=9,
                  frameon=False, loc="outside lower center", ncols=columns,
                  handlelength=_HANDLE)  # fmt: skip


def title(figure: Figure, top: Axes, name: str, below: str) -> None:
    """Put a title on a figure, and below it what it shows and is based on."""
    headline(figure, name)
    wrapped = "\n".join(filled(line, _BELOW) for line in below.split("\n"))
    top.set_title(wrapped, loc="left", fontsize=10, color="#4a5157")


def headline(figure: Figure, name: str) -> None:
    """Put a title alone on a figure."""
    figure.suptitle(filled(name, _TITLE), x=0.02, ha="left", fontweight="bold", fontsize=14)


def page_title(figure: Figure, name: str) -> None:
    """Put a title on a chart of a page, which has a caption too."""
    figure.suptitle(filled(name, _PAGE), x=0.02, ha="left", fontweight="bold", fontsize=11)


def svg_of(figure: Figure) -> bytes:
    """Return a figure as SVG that is the same each time.

    Characters that XML does not know, as a name may hold, are left out.
    """
    out = io.BytesIO()
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph")  # of a name: the viewer's font may have it
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": "pullbook"})
    return _NO_XML.sub(b"", out.getvalue())


_NO_XML = re.compile(rb"[\x00-\x08\x0b\x0c\x0e-\x1f]")
