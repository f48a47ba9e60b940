"""The model that answers: loaded beside the first page, and anew when another is put in use."""

from __future__ import annotations

from dataclasses import dataclass, field
from threading import Lock, Thread
from typing import TYPE_CHECKING, Any, TypeVar

from pullbook.schemas.errors import InputError, PullbookError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from pullbook.model.answers.predictor import Predictor
    from pullbook.model.choices.search_result import Search
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.schemas.on_request import Load
    from pullbook.tasks.questions import Asked
    from pullbook.workspace.folder import Folder


#: Answers that are kept, so that another band or another unit does not predict anew.
_MOST_KEPT = 40
T = TypeVar("T")


class NoModelError(InputError):
    """The model cannot be loaded; the message says why."""


@dataclass(slots=True)
class ModelInUse:
    """The model of a folder, or the invented one that comes with pullbook.

    Attributes
    ----------
    folder
        The folder whose models count.
    """

    folder: Folder
    _loaded: tuple[object, Predictor] | None = None
    _kept: dict[object, Any] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    def begin(self) -> None:
        """Load the model in a thread of its own, with the libraries that take long to import."""
        Thread(target=self._warm, daemon=True).start()

    def _warm(self) -> None:
        self.folder.tests.read()
        try:
            predictor = self.predictor()
        except PullbookError:
            return  # who asks gets the sentence
        from pullbook.model.answers import compared_sides  # noqa: F401 - to have it loaded

        for build in ({"cylinders": 8, "bore": 4.0, "stroke": 3.5},):
            predictor.predict(build)

    @property
    def ready(self) -> bool:
        """Whether an answer need not wait for the model."""
        return self._loaded is not None

    @property
    def place(self) -> Path | None:
        """The bundle in use; ``None`` for the invented one."""
        from pullbook.model.review import promotion_record  # loads nothing heavy

        models = self.folder.models
        if models is None:
            return None
        found = promotion_record.current(models)
        return found if found != models or (found / "bundle.json").is_file() else None

    def prediction(self, asked: Asked) -> Prediction | None:
        """Return the prediction of one build; a build asked before is not predicted again."""
        from pullbook.tasks import questions

        predictor = self.predictor()
        return self._once(predictor, asked, (), lambda: questions.predictions(asked, predictor)[0])

    def search(
        self, asked: Asked, free: Sequence[str], goal: str, level: float,
        loads: Sequence[Load] = (), cautions: Sequence[str] = (),
    ) -> Search:  # fmt: skip
        """Return the best of what was tested; what was searched before is not searched again.

        Raises
        ------
        InputError
            It cannot be searched.

        """
        from pullbook.tasks import searching

        predictor = self.predictor()
        question = (*free, goal, level, *loads, *cautions)
        return self._once(
            predictor, asked, question,
            lambda: searching.search(predictor, asked, free, goal, level, loads, cautions),
        )  # fmt: skip

    def _once(
        self, predictor: Predictor, asked: Asked, more: tuple[object, ...], work: Callable[[], T]
    ) -> T:
        """Return what is kept of a question about one build, or the work's result.

        What starts from a measured pull is worked out each time: the pull may have changed.
        """
        (build,), (code,), (start,) = asked
        if start is not None or not build.accepted:
            return work()
        key = (predictor.manifest["id"], code, build.sheet_id, more, *sorted(build.given.items()))
        found: T | None = self._kept.get(key)
        if found is None:
            found = self._kept[key] = work()
            for old in list(self._kept)[:-_MOST_KEPT]:
                self._kept.pop(old, None)
        return found

    def predictor(self) -> Predictor:
        """Return the predictor of the model in use.

        Raises
        ------
        NoModelError
            It cannot be loaded.

        """
        import pullbook

        with self._lock:
            place = self.place
            if self._loaded is None or self._loaded[0] != place:
                try:
                    self._loaded = (place, pullbook.load(place))
                except PullbookError as fault:
                    msg = f"The model cannot be loaded: {fault}"
                    raise NoModelError(msg) from fault
            return self._loaded[1]
