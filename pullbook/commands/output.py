"""Answers on the terminal, as charts and as answer sheets."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeVar

import typer

from pullbook.arguments import messages
from pullbook.pipeline.storage import whole_writes

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from pathlib import Path

    from pullbook.drawings.chart import Chart
    from pullbook.pipeline.values.sheet import Build
    from pullbook.reports.document import Page
    from pullbook.schemas.answer import Answer
    from pullbook.words.units import Units


_PLOTS = (".svg", ".png", ".pdf")


@dataclass(frozen=True, slots=True)
class Outcome:
    """An answer in each of its forms, made only when needed."""

    as_json: Callable[[], Any]
    text: Callable[[], str]
    chart: Callable[[], Chart]
    page: Callable[[], Page]


@dataclass(frozen=True, slots=True)
class Wanted:
    """The forms of an answer that the user asks for."""

    as_json: bool
    plot: Path | None
    html: Path | None
    csv: Path | None = None
    save: Path | None = None

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
        if self.csv is not None and self.csv.suffix.casefold() != ".csv":
            msg = f"a table is a .csv file, not {self.csv.name!r}"
            raise typer.BadParameter(msg, param_hint="--csv")
        if self.save is not None and self.save.suffix.casefold() != ".json":
            msg = f"answers are kept in a .json file, not {self.save.name!r}"
            raise typer.BadParameter(msg, param_hint="--save")


def deliver(outcome: Outcome, wanted: Wanted) -> None:
    """Print an answer, and write the files that were asked for."""
    typer.echo(json.dumps(outcome.as_json(), allow_nan=False) if wanted.as_json else outcome.text())
    files(outcome.chart, outcome.page, wanted)


def files(chart: Callable[[], Chart], page: Callable[[], Page], wanted: Wanted) -> None:
    """Write the chart and the answer sheet, where they are asked for."""
    if wanted.plot is not None:
        from pullbook.charts import matplotlib_writer

        matplotlib_writer.draw(chart(), wanted.plot)
        messages.say(f"Chart: {wanted.plot}")
    if wanted.html is not None:
        whole_writes.write_text(wanted.html, page().html())
        messages.say(f"Answer sheet: {wanted.html}")


def keep(
    builds: Sequence[Build], answers: Sequence[Answer | None], units: Units, wanted: Wanted
) -> None:
    """Write answers as a table, and keep them to be asked again, where that is asked for."""
    from datetime import UTC, datetime

    from pullbook.answer_files import answer_table, saved_answer

    if wanted.csv is not None:
        whole_writes.write_text(wanted.csv, answer_table.text(builds, answers, units))
        messages.say(f"Table: {wanted.csv}")
    if wanted.save is not None:
        today = datetime.now(UTC).astimezone().date().isoformat()
        kept = saved_answer.text(builds, answers, units, today)
        whole_writes.write_text(wanted.save, kept)
        messages.say(f"Saved: {wanted.save}")


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
