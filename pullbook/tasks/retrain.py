"""Train a model of a folder's own sheets and judge it, in a process of its own.

Each line that it prints is a JSON object: a step with the share that is done, and at the end
``done`` or ``error``. What it makes is the folder of a candidate: the bundle, and its judgement.
"""

from __future__ import annotations

import json
import os
import shutil
import sys
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, Any

from pullbook.pipeline.storage import whole_writes
from pullbook.schemas.errors import PullbookError
from pullbook.tasks import fault_log, own_key, training
from pullbook.words.figures import counted

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    import pandas as pd

    Say = Callable[[str, float | None], None]
    Tables = tuple[pd.DataFrame, pd.DataFrame]

BUNDLE, JUDGEMENT, SUMMARY = "bundle", "judgement.json", "summary.json"
#: The page about both models, figure by figure.
PAGE = "judgement.html"
#: Share of the engines that is held out to judge by, always the same ones.
_JURY = 0.2
_LEVEL = 0.9


def make(folder: Path, out: Path, in_use: Path | None, say: Say) -> None:
    """Make a candidate.

    Parameters
    ----------
    folder
        The person's folder.
    out
        Folder of the candidate; what is in it is replaced.
    in_use
        The bundle in use; ``None`` for the invented one.
    say
        Is given each step with the share that is done, or ``None``.

    Raises
    ------
    InputError
        There is nothing to learn from.

    """
    from pullbook.model.learning.settings import from_mapping
    from pullbook.model.training import bundle, train_model
    from pullbook.pipeline.curation.read_own import OwnReader

    shutil.rmtree(out, ignore_errors=True)
    out.mkdir(parents=True)
    say("Reading the sheets", None)
    reader = OwnReader((folder,), None, own_key.key_if_any())
    rejected: list[str] = []
    both = training.data(folder, reader, rejected.append)
    learn, jury = _split(both, out / "data")
    say(f"Learning from {len(learn[0])} sheets", 0.0)
    other = training.start_of("", learn[0], private=True, say=rejected.append)

    def track(loop: Iterable[Any]) -> Iterator[Any]:
        steps = list(loop)
        for at, one in enumerate(steps):
            say(f"Holding engines out, {at + 1} of {len(steps)}", at / len(steps))
            yield one

    crew = train_model.THREADS
    model, _ = training.train(*learn, from_mapping({}), other, crew, track)
    identity = bundle.save(model, out / BUNDLE, invented=False)
    summary = {"id": identity, "sheets": len(learn[0]), "rejected": len(rejected)}
    if jury is not None:
        say("Judging it by engines that it has not seen", None)
        summary |= _judged(in_use, jury, out)
    whole_writes.write_text(out / SUMMARY, json.dumps(summary))


def _split(both: Tables, place: Path) -> tuple[Tables, Tables | None]:
    """Return what to learn from and what to judge by; all to learn from where engines are few."""
    from pullbook.pipeline.curation import data_set, jury

    try:
        jury.split(*both, _JURY, place)
    except jury.JuryError:
        return both, None
    return data_set.load(place / jury.LEARN), data_set.load(place / jury.JURY)


def _judged(in_use: Path | None, jury: Tables, out: Path) -> dict[str, Any]:
    import pullbook
    from pullbook.model.review import judge, judgement
    from pullbook.model.training import bundle
    from pullbook.reports import judgement_page

    before = pullbook.load(in_use)
    old = before.model, before.manifest
    try:
        found = judge.judge(old, bundle.load(out / BUNDLE), *jury, judgement.rules_from({}), _LEVEL)
    except judge.JudgeError as fault:
        return {"unjudged": str(fault)}
    lines = json.dumps(found.as_json(), indent=1, allow_nan=False)
    whole_writes.write_text(out / JUDGEMENT, f"{lines}\n")
    judgement_page.page(found).write(out, PAGE.removesuffix(".html"))
    return {
        "verdict": found.verdict.value,
        "conclusion": judgement_page.conclusion(found),
        "reasons": found.reasons,
        "rows": judgement_page.rows(found),
        "by": f"{counted(found.sheets, 'sheet')} of {counted(found.shops, found.held_out)}",
        "invented": in_use is None,
    }


def main(folder: str, out: str, in_use: str = "") -> int:
    """Make a candidate and print how far it is; return the exit status."""

    def say(step: str, share: float | None) -> None:
        sys.stdout.write(f"{json.dumps({'step': step, 'share': share})}\n")
        sys.stdout.flush()

    try:
        make(Path(folder), Path(out), Path(in_use) if in_use else None, say)
    except PullbookError as fault:
        sys.stdout.write(f"{json.dumps({'error': str(fault)})}\n")
        return 2
    except OSError as fault:
        sys.stdout.write(f"{json.dumps({'error': f'{fault.filename}: {fault.strerror}'})}\n")
        return 2
    except Exception as fault:
        sys.stdout.write(f"{json.dumps({'error': fault_log.report(fault)})}\n")
        return 2
    sys.stdout.write(f"{json.dumps({'done': True})}\n")
    return 0


def _end_with_parent() -> None:
    """End with the process that began this one: its end of standard input is then closed."""

    def wait() -> None:
        while os.read(sys.stdin.fileno(), 1):
            pass
        os._exit(1)

    Thread(target=wait, daemon=True).start()


if __name__ == "__main__":
    _end_with_parent()
    sys.exit(main(*sys.argv[1:]))
