"""The command `pullbook`: its commands in the order of work, and what a user sees of an error."""

from __future__ import annotations

import os
import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pullbook.arguments import messages
from pullbook.commands import (
    analyst,
    builder,
    builder_choices,
    builder_parts,
    demo,
    reports,
    review,
    sharing,
    shop,
)
from pullbook.pipeline.storage.plain_text import PlainStream
from pullbook.schemas.errors import PullbookError, not_there
from pullbook.tasks import fault_log

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

app = typer.Typer(
    name="pullbook",
    help="Predict the torque curve of an engine combination from dyno sheets of others.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
#: Commands by the person who uses them, in the order of work.
_ORDER: dict[str, tuple[Callable[..., Any], ...]] = {
    "Start here": (demo.demo, demo.open_),
    "Shop: your sheets": (
        shop.check,
        shop.settings,
        shop.contribute,
        sharing.unseal,
        sharing.withdraw,
        sharing.unpack,
        sharing.hand_over,
        sharing.bring_over,
        sharing.backup_key,
        sharing.restore_key,
    ),
    "Builder: ask": (
        builder_parts.template,
        builder.predict,
        builder.compare,
        builder_choices.vary,
        builder_choices.choose,
        builder_parts.explain,
        builder_parts.against,
        builder_parts.next_,
    ),
    "Analyst: data and models": (
        analyst.curate,
        analyst.features,
        analyst.train,
        analyst.evaluate,
        review.jury,
        review.judge,
        review.promote,
        review.refit,
        review.audit,
    ),
}
for panel, commands in _ORDER.items():
    for command in commands:
        app.command(command.__name__.rstrip("_").replace("_", "-"), rich_help_panel=panel)(command)
app.add_typer(reports.group, rich_help_panel="Analyst: data and models")

_INTERRUPTED = 130


def _version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(f"pullbook {version('pullbook')}")
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    pass


def run() -> None:
    """Run the command line; every error ends in one sentence and exit status 2."""
    with _plain_streams():
        _run()


@contextmanager
def _plain_streams() -> Iterator[None]:
    """Print through streams that show hidden characters instead of sending them on."""
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = map(PlainStream, before)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before


def _run() -> None:
    try:
        app()
    except KeyboardInterrupt:
        sys.exit(_INTERRUPTED)
    except BrokenPipeError:  # the reader of our output is gone
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except PullbookError as fault:
        _stop(str(fault))
    except FileNotFoundError as fault:
        _stop(not_there(fault.filename))
    except OSError as fault:
        _stop(f"{fault.filename}: {fault.strerror}" if fault.filename is not None else str(fault))
    except Exception as fault:  # the one place where an error of the program ends
        _stop(fault_log.report(fault))


def _stop(sentence: str) -> None:
    messages.say(f"pullbook: {sentence}")
    sys.exit(2)
