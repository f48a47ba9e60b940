"""Run the page: on 127.0.0.1 alone, until it is stopped."""

from __future__ import annotations

import sys
import webbrowser
from threading import Thread
from typing import TYPE_CHECKING

import uvicorn

from pullbook.page.app import app
from pullbook.page.state_file import listen
from pullbook.workspace.folder import Folder

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from uvicorn.config import Config


class _Server(uvicorn.Server):
    """A server that says when it answers."""

    def __init__(self, config: Config, begun: Callable[[], None]) -> None:
        super().__init__(config)
        self._begun = begun

    async def startup(self, sockets: list[object] | None = None) -> None:  # type: ignore[override]
        """Start, then say so."""
        await super().startup(sockets)  # type: ignore[arg-type]
        self._begun()


def serve(path: Path | None, port: int | None, *, browser: bool) -> None:
    """Serve the page of a folder until it is stopped.

    Parameters
    ----------
    path
        The folder; ``None`` for none.
    port
        The port to listen on; ``None`` takes the one of last time, or any.
    browser
        Whether to open the page in the browser.

    Raises
    ------
    InputError
        The folder is not there, or the port is taken.

    """
    folder = Folder(path)
    listening, address = listen(path, port)
    made = app(folder, address)

    def begun() -> None:
        sys.stdout.write(f"{address.url}\n")
        sys.stdout.flush()
        made.state.desk.model.begin()
        if browser:
            Thread(target=webbrowser.open, args=(address.url,), daemon=True).start()

    config = uvicorn.Config(made, log_level="error", access_log=False, server_header=False,
                            timeout_graceful_shutdown=2, lifespan="off")  # fmt: skip
    with listening:
        _Server(config, begun).run(sockets=[listening])
