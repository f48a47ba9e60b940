"""Answers on the terminal, as charts and as answer sheets."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

import typer

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

    from matplotlib.figure import Figure

    from pullbook.reports.document import Page


_PLOTS = (".svg", ".png", ".pdf")


@dataclass(frozen=True, slots=True)
class Outcome:
    """An answer in each of its forms, made only when needed."""

    as_json: Callable[[], Any]
    text: Callable[[], str]
    figure: Callable[[], Figure]
    page: Callable[[], Page]


@dataclass(frozen=True, slots=True)
class Wanted:
    """The forms of an answer that the user asks for."""

    as_json: bool
    plot: Path | None
    html: Path | None

    def __post_init__(self) -> None:
        """Refuse a file of a type that cannot be written.

        Raises
        ------
        typer.BadParameter
            The name of a file ends differently.

        """
        if self.plot is not None and self.plot.suffix.casefold() not in _PLOTS:
            msg = f"a chart can be {', '.join(_PLOTS)}, not {self.plot.name!r}"
            raise typer.BadParameter(msg, param_hint="--plot")
        if self.html is not None and self.html.suffix.casefold() not in (".html", ".htm"):
            msg = f"an answer sheet is an .html file, not {self.html.name!r}"
            raise typer.BadParameter(msg, param_hint="--html")


def deliver(outcome: Outcome, wanted: Wanted) -> None:
    """Print an answer, and write the files that were asked for."""
    typer.echo(json.dumps(outcome.as_json(), allow_nan=False) if wanted.as_json else outcome.text())
    files(outcome.figure, outcome.page, wanted)


def files(figure: Callable[[], Figure], page: Callable[[], Page], wanted: Wanted) -> None:
    """Write the chart and the answer sheet, where they are asked for."""
    if wanted.plot is not None:
        chart(figure, wanted.plot)
    if wanted.html is not None:
        wanted.html.write_text(page().html(), encoding="utf-8")
        typer.echo(f"Answer sheet: {wanted.html}", err=True)


def warn(text: str) -> None:
    """Print a line beside the answer."""
    typer.echo(text, err=True)


def chart(figure: Callable[[], Figure], path: Path) -> None:
    """Write a chart into a file, and say so."""
    import matplotlib as mpl

    from pullbook.charts import drawing

    with mpl.rc_context(drawing.STYLE):
        drawing.save(figure(), path)
    typer.echo(f"Chart: {path}", err=True)


T = TypeVar("T")


def bar(title: str) -> Callable[[Iterable[T]], Iterable[T]]:
    """Return a wrapper that shows a progress bar for a loop, on a terminal only."""

    def wrap(loop: Iterable[T]) -> Iterable[T]:
        if not sys.stderr.isatty():
            return loop
        from rich.console import Console
        from rich.progress import track

        return track(loop, title, console=Console(stderr=True), transient=True)

    return wrap
