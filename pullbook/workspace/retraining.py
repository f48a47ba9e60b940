"""The model that is being trained beside: its progress, cancelling, keeping, going back."""

from __future__ import annotations

import atexit
import datetime as dt
import json
import os
import shutil
import signal
import subprocess
import sys
from dataclasses import dataclass, field
from threading import Lock, Thread
from typing import TYPE_CHECKING, Any

from pullbook.schemas.errors import InputError
from pullbook.tasks import retrain
from pullbook.workspace.folder import MODELS

if TYPE_CHECKING:
    from pathlib import Path

    from pullbook.model.review.promotion_record import Promotion
    from pullbook.workspace.folder import Folder
    from pullbook.workspace.model_in_use import ModelInUse

_CANDIDATE = ".candidate"
#: The folder among the models with what the judgement of each said.
_ACCURACY = "accuracy"


class RetrainingError(InputError):
    """Something that cannot be done now; the message says why."""


@dataclass(slots=True)
class Retraining:
    """Training of a folder's model.

    Attributes
    ----------
    step, share
        What it does at the moment, and which share of it is done.
    fault
        Why the last one ended without a model.
    """

    folder: Folder
    model: ModelInUse
    step: str = ""
    share: float | None = None
    fault: str = ""
    _process: subprocess.Popen[str] | None = None
    _lock: Lock = field(default_factory=Lock)

    @property
    def running(self) -> bool:
        """Whether a model is being trained."""
        return self._process is not None

    @property
    def place(self) -> Path:
        """The folder of the candidate."""
        return self.folder.top / MODELS / _CANDIDATE

    def begin(self) -> None:
        """Train a model in a process of its own, unless one is being trained already."""
        with self._lock:
            if self._process is not None:
                return
            in_use = self.model.place
            words = [sys.executable, "-m", "pullbook.tasks.retrain", str(self.folder.top),
                     str(self.place), str(in_use or "")]  # fmt: skip
            env = {**os.environ, "OMP_NUM_THREADS": "1"}
            self.step, self.share, self.fault = "Starting", None, ""
            # Its input says nothing; it ends with us, however we end, and training with it.
            self._process = subprocess.Popen(  # noqa: S603 - our own module
                words, stdout=subprocess.PIPE, stdin=subprocess.PIPE, text=True, env=env,
                start_new_session=True,
            )  # fmt: skip
        atexit.register(self.cancel)
        Thread(target=self._follow, args=(self._process,), daemon=True).start()

    def _follow(self, process: subprocess.Popen[str]) -> None:
        ended = False
        with process:  # closes its output and waits for it
            for line in process.stdout or ():
                try:
                    said = json.loads(line)
                except ValueError:
                    continue
                if "step" in said:
                    self.step, self.share = said["step"], said["share"]
                ended = ended or "error" in said or "done" in said
                self.fault = said.get("error", self.fault)
        with self._lock:
            if self._process is process:
                self._process = None
                if not ended and not self.fault:
                    self.fault = "Training ended before it was done. Nothing was changed."

    def cancel(self) -> None:
        """Stop training; nothing is changed by what was done so far."""
        with self._lock:
            process, self._process = self._process, None
        if process is None:
            return
        if os.name == "posix":
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()
        process.wait()
        shutil.rmtree(self.place, ignore_errors=True)

    def candidate(self) -> dict[str, Any] | None:
        """Return what is known of the candidate; ``None`` where there is none."""
        return None if self.running else self._summary(self.place / retrain.SUMMARY)

    def accuracy(self) -> dict[str, Any] | None:
        """Return how the model in use was judged before it was kept; ``None`` if it was not."""
        place = self.model.place
        if place is None:
            return None
        return self._summary(place.parent / _ACCURACY / f"{place.name}.json")

    def page(self, *, new: bool) -> Path | None:
        """Return the whole page about how the candidate, or the model in use, was judged."""
        place = self.model.place
        if new:
            path = self.place / retrain.PAGE if self.folder.path is not None else None
        else:
            path = None if place is None else place.parent / _ACCURACY / f"{place.name}.html"
        return path if path is not None and path.is_file() and not self.running else None

    def _summary(self, path: Path) -> dict[str, Any] | None:
        if self.folder.path is None:
            return None
        try:
            found: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        return found

    def keep(self, why: str) -> Promotion:
        """Put the candidate in use.

        Raises
        ------
        InputError
            There is none, or the judgement does not allow it and no reason is given.

        """
        from pullbook.model.review import promotions

        if self.candidate() is None:
            msg = "there is no new model to keep; train one first"
            raise RetrainingError(msg)
        path = self.place / retrain.JUDGEMENT
        judgement = json.loads(path.read_text(encoding="utf-8")) if path.is_file() else None
        models = self.folder.top / MODELS
        done = promotions.promote(self.place / retrain.BUNDLE, models, judgement, _today(), why)
        kept = self.folder.top / MODELS / _ACCURACY / f"{done.bundle}.json"
        self.folder.save(kept, (self.place / retrain.SUMMARY).read_bytes())
        page = self.place / retrain.PAGE
        if page.is_file():
            self.folder.save(kept.with_suffix(".html"), page.read_bytes())
        shutil.rmtree(self.place, ignore_errors=True)
        return done

    def drop(self) -> None:
        """Throw the candidate away."""
        shutil.rmtree(self.place, ignore_errors=True)

    def back(self) -> Promotion:
        """Put the model that was in use before back in use.

        Raises
        ------
        InputError
            There is none.

        """
        from pullbook.model.review import promotions

        return promotions.back(self.folder.top / MODELS, _today())

    def history(self) -> list[Promotion]:
        """Return the models that were put in use, the oldest first."""
        from pullbook.model.review.promotion_record import history

        return [] if self.folder.path is None else history(self.folder.top / MODELS)


def _today() -> dt.date:
    return dt.datetime.now(tz=dt.UTC).date()
