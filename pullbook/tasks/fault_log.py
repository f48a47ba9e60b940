"""A fault of the program: a log of it, and the sentence that names the log."""

from __future__ import annotations

import sys
import traceback


def report(fault: Exception) -> str:
    """Write an error of the program to a log; return the sentence that names it."""
    import os
    from datetime import UTC, datetime
    from importlib.metadata import version

    import platformdirs

    from pullbook.pipeline.storage.plain_text import plain

    name = f"{datetime.now(UTC):%Y%m%d-%H%M%S}-{os.getpid()}.txt"
    log = platformdirs.user_state_path("pullbook") / "faults" / name
    lines = "".join(traceback.format_exception(fault))
    text = f"pullbook {version('pullbook')}, Python {sys.version}\n{lines}"
    try:
        log.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        log.write_text(plain(text), encoding="utf-8")
        where = f"The details are in {log}."
    except OSError:
        sys.stderr.write(f"{text}\n")
        where = "The details are above; no log could be written."
    return (
        f"this is an error in the program ({type(fault).__name__}), not in your files. {where}"
        " Please report it with what you did; CONTRIBUTING.md says how."
    )
