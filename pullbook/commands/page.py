"""The command that opens the page in the browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def open_(
    folder: Annotated[
        Path | None,
        typer.Argument(help="Folder of your sheets, builds and models; without it, invented ones."),
    ] = None,
    port: Annotated[
        int | None,
        typer.Option(min=1, max=65535, help="Port to listen on; by default the one of last time."),
    ] = None,
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Print the address only; open no browser.")
    ] = False,
) -> None:
    """Open the page in your browser: everything pullbook does, on this machine alone."""
    from pullbook.page.serve import serve

    serve(folder, port, browser=not no_browser)
