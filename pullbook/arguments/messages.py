"""Messages beside an answer, on standard error."""

from __future__ import annotations

import itertools
import shutil
import sys

import typer

from pullbook.words.line_breaks import broken

_NARROWEST = 20


def say(message: str) -> None:
    """Print a message: broken between words on a terminal, one line each anywhere else."""
    if sys.stderr.isatty():
        width = max(shutil.get_terminal_size().columns - 1, _NARROWEST)
        lines = (broken(line, width, "  ", whole=True) or [""] for line in message.splitlines())
        message = "\n".join(itertools.chain.from_iterable(lines))
    typer.echo(message, err=True)
