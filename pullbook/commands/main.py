"""The command `pullbook`: what its parts have in common, and what a user sees of a fault."""

from __future__ import annotations

import os
import sys
from typing import Annotated

import typer

from pullbook.commands import (
    analyst,
    builder,
    builder_parts,
    demo,
    reports,
    review,
    shop,
)

app = typer.Typer(
    name="pullbook",
    help="What an engine combination will likely make, from the dyno sheets of others.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
for part in (
    shop,
    builder,
    builder_parts,
    analyst,
    review,
    demo,
):
    for command in part.COMMANDS:
        app.command(command.__name__.rstrip("_"))(command)

app.add_typer(reports.group)

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
    """Run the command line; every fault ends in one sentence and exit status 2."""
    try:
        app()
    except KeyboardInterrupt:
        sys.exit(_INTERRUPTED)
    except BrokenPipeError:  # the reader of our output has gone
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except (OSError, ValueError, ImportError) as fault:
        typer.echo(f"pullbook: {_sentence(fault)}", err=True)
        sys.exit(2)
    except Exception as fault:
        if os.environ.get("PULLBOOK_TRACEBACK"):
            raise
        typer.echo(
            f"pullbook: a fault of the program itself ({type(fault).__name__}: {fault});"
            " please report it, with what PULLBOOK_TRACEBACK=1 shows",
            err=True,
        )
        sys.exit(2)


def _sentence(fault: BaseException) -> str:
    if isinstance(fault, OSError) and fault.filename is not None:
        return f"{fault.filename}: {fault.strerror}"
    return str(fault)
