"""The command line as a user runs it: here, which is quick, or in a process of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pytest

from pullbook.commands import main

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

_PLAIN = {"NO_COLOR": "1", "COLUMNS": "100"}


@dataclass
class Done:
    """What a command left: its exit status, and what it printed."""

    returncode: int
    stdout: str = ""
    stderr: str = ""


def run(*words: object, env: dict[str, str] | None = None) -> Done:
    """Run the command line in this process.

    Nothing is loaded anew, which would take seconds. Everything that reaches the two outputs is
    caught, also what a library or a child process writes past Python.
    """
    with pytest.MonkeyPatch.context() as patch, ExitStack() as stack:
        for name, value in {**_PLAIN, **(env or {})}.items():
            patch.setenv(name, value)
        patch.setattr(sys, "argv", ["pullbook", *map(str, words)])
        done = Done(0)
        for name in ("stdout", "stderr"):
            stack.enter_context(_caught(name, done))
        try:
            main.run()
        except SystemExit as end:
            done.returncode = end.code or 0
    return done


@contextmanager
def _caught(name: str, done: Done) -> Iterator[None]:
    number = {"stdout": 1, "stderr": 2}[name]
    before, shown = os.dup(number), getattr(sys, name)
    shown.flush()
    with tempfile.TemporaryFile() as kept:
        os.dup2(kept.fileno(), number)
        try:
            with open(number, "w", encoding="utf-8", closefd=False) as stream:
                setattr(sys, name, stream)
                yield
        finally:
            setattr(sys, name, shown)
            os.dup2(before, number)
            os.close(before)
        kept.seek(0)
        setattr(done, name, kept.read().decode())


_APART = """
import json, sys
from pullbook.commands.main import run
commands, status = json.loads(sys.argv[1]), 0
for words in commands:
    sys.argv[1:] = words
    try:
        run()
    except SystemExit as end:
        status = status or end.code
sys.exit(status)
"""


def run_apart(*commands: Iterable[object]) -> Done:
    """Run commands, each a list of words, one after another in a process of their own."""
    words = json.dumps([[str(word) for word in command] for command in commands])
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", _APART, words],
        capture_output=True,
        text=True,
        env={**os.environ, **_PLAIN},
        check=False,
    )
    assert "Traceback" not in done.stderr
    return Done(done.returncode, done.stdout, done.stderr)
