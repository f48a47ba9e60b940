"""Putting an answer where it was asked for: on the terminal, into a picture, onto a page."""

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
    """An answer in each of its forms, made when it is wanted."""

    as_json: Callable[[], Any]
    text: Callable[[], str]
    figure: Callable[[], Figure]
    page: Callable[[], Page]


@dataclass(frozen=True, slots=True)
class Wanted:
    """Where an answer is wanted."""

    as_json: bool
    plot: Path | None
    html: Path | None

    def __post_init__(self) -> None:
        """Refuse a file of a kind that cannot be made.

        Raises
        ------
        typer.BadParameter
            The name of a file ends otherwise.

        """
        if self.plot is not None and self.plot.suffix.casefold() not in _PLOTS:
            msg = f"a picture can be {', '.join(_PLOTS)}, not {self.plot.name!r}"
            raise typer.BadParameter(msg, param_hint="--plot")
        if self.html is not None and self.html.suffix.casefold() not in (".html", ".htm"):
            msg = f"an answer sheet is an .html file, not {self.html.name!r}"
            raise typer.BadParameter(msg, param_hint="--html")


def deliver(outcome: Outcome, wanted: Wanted) -> None:
    """Print an answer, and write the files that were asked for."""
    typer.echo(json.dumps(outcome.as_json(), allow_nan=False) if wanted.as_json else outcome.text())
    files(outcome.figure, outcome.page, wanted)


def files(figure: Callable[[], Figure], page: Callable[[], Page], wanted: Wanted) -> None:
    """Write the picture and the answer sheet, where they were asked for."""
    if wanted.plot is not None:
        import matplotlib as mpl

        from pullbook.charts import drawing

        with mpl.rc_context(drawing.STYLE):
            drawing.save(figure(), wanted.plot)
        typer.echo(f"The picture is {wanted.plot}", err=True)
    if wanted.html is not None:
        wanted.html.write_text(page().html(), encoding="utf-8")
        typer.echo(f"The answer sheet is {wanted.html}", err=True)


def counted(count: int, what: str) -> str:
    """Return a number of things in words.

    >>> counted(1, "sheet"), counted(2, "sheet")
    ('1 sheet', '2 sheets')
    """
    return f"{count} {what}{'' if count == 1 else 's'}"


T = TypeVar("T")


def bar(title: str) -> Callable[[Iterable[T]], Iterable[T]]:
    """Return what wraps a loop to show a bar; where nobody watches, it shows nothing."""

    def wrap(loop: Iterable[T]) -> Iterable[T]:
        if not sys.stderr.isatty():
            return loop
        from rich.console import Console
        from rich.progress import track

        return track(loop, title, console=Console(stderr=True), transient=True)

    return wrap
