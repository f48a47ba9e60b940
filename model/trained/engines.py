"""What is known of the engines of builds: the effects, with the pulls of each engine."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd

from pullbook.model.learning import effect_points
from pullbook.model.range import tested_changes
from pullbook.model.trained import known_sheets
from pullbook.model.trained.find_sheet import find_sheet
from pullbook.model.trained.start import Learned, Start, take_over
from pullbook.pipeline.builds.build_table import typed_builds
from pullbook.schemas.answer import FromMeasured

if TYPE_CHECKING:
    from collections.abc import Hashable, Mapping, Sequence

    from pullbook.model.learning.effects import Process, Readings
    from pullbook.model.learning.sample import Ints
    from pullbook.model.trained.known_sheets import KnownSheets
    from pullbook.model.trained.pulls import Pull
    from pullbook.model.trained.trained_model import Model

#: A pull is unlikely for its build if its level is off by so many standard deviations and by so
#: much on the logarithmic scale.
_UNLIKELY, _LEAST_OFF = 3.0, 0.1
#: What torque is off by if a unit was mistaken, on the logarithmic scale: N.m for lb-ft, hp for kW.
_MISTAKES = (np.log(1.35582), np.log(1.34102))
_NEAR = 0.12
#: Name of an engine that nothing else can have.
_UNNAMED = "\0"


class Ready(NamedTuple):
    """What is known of the engine of a build.

    Attributes
    ----------
    process
        The process.
    labels
        Numbers of shop, family and engine of the build, shape (3,).
    told
        What the answer says of the measured pulls; ``None`` if there are none.
    before
        The build that was measured; ``None`` if there is none.
    known
        Builds of its engine, those of all measured sheets first, that complete it; ``None`` if
        there are none.
    """

    process: Process
    labels: Ints
    told: FromMeasured | None
    before: Mapping[Hashable, Any] | None = None
    known: pd.DataFrame | None = None


class _Measured(NamedTuple):
    """What the measured pulls of an engine tell, whatever is asked about it."""

    before: Mapping[Hashable, Any]
    sheets: KnownSheets
    labels: Ints
    others: tuple[str, ...]
    sweep: tuple[float, float]
    tested_on: str | None = None
    correction: str | None = None
    off: float = 0.0
    unlikely: str | None = None

    def ready(
        self,
        build: Mapping[Hashable, Any],
        process: Process,
        known: pd.DataFrame | None,
        sizes: tuple[str, ...],
    ) -> tuple[Ready, dict[str, Any]]:
        """Return what is known of a build of this engine, and what it takes over.

        ``process`` and ``known`` are as `KnownSheets.beside` returns them; ``sizes`` were taken
        over before.
        """
        changed = tested_changes.changed_fields(self.before, build)
        taken = take_over(build, self.before, changed)
        told = FromMeasured(
            str(self.before["sheet_id"]), tuple(changed), (*sizes, *taken), self.others,
            self.tested_on, self.correction, self.sweep, self.off, self.unlikely,
        )  # fmt: skip
        return Ready(process, self.labels, told, self.before, known), taken


class Engines:
    """Finds what is known of the engines of builds."""

    def __init__(self, model: Model) -> None:
        """Take the model that is asked."""
        self._model = model
        self._known = effect_points.KnownLabels(model.fields)
        self._measured: dict[int, _Measured] = {}
        self._learned_sheets: dict[tuple[int, ...], KnownSheets] = {}

    def ready(
        self,
        builds: pd.DataFrame,
        starts: Sequence[Start | Learned | None],
        *,
        alone: bool = False,
    ) -> tuple[pd.DataFrame, list[Ready]]:
        """Return builds with what they take over, and what is known of the engine of each.

        What builds of one engine give completes one another's sheets, unless each is asked
        ``alone``: its answer then does not depend on what else is asked.
        """
        labels = self._known.of(builds)
        found: dict[int, Ready] = {}
        measured: dict[object, list[tuple[int, _Measured]]] = {}
        rows = builds.to_dict("records")
        for at, start in enumerate(starts):
            if isinstance(start, Start):
                if id(start) not in self._measured:
                    self._measured[id(start)] = self._by_pulls(start, _text_of(rows[at]["shop"]))
                one = self._measured[id(start)]
                measured.setdefault(at if alone else (id(one.sheets),), []).append((at, one))
                continue
            named = self._known.labels[start.at, -1] if start is not None else labels[at, -1]
            own = np.flatnonzero(self._known.labels[:, -1] == named)
            if not len(own):
                found[at] = Ready(self._model.effects, labels[at], None)
                continue
            nearest = self._nearest(own, rows[at]) if start is None else start.at
            one = self._learned(own, nearest)
            measured.setdefault(at if alone else (id(one.sheets),), []).append((at, one))
        taken: dict[str, dict[int, Any]] = {}
        for of_engine in measured.values():
            known = of_engine[0][1].sheets.beside(builds.iloc[[at for at, _ in of_engine]])
            for at, one in of_engine:
                sizes = start.sizes if (start := starts[at]) is not None else ()
                found[at], values = one.ready(rows[at], *known, sizes)
                for name, value in values.items():
                    taken.setdefault(name, {})[at] = value
        return _completed(builds, taken), [found[at] for at in range(len(builds))]

    def _nearest(self, own: Ints, build: Mapping[Hashable, Any]) -> int:
        """Return the position of the sheet of an engine from which least was changed."""
        fields = self._model.fields
        counts = [
            len(tested_changes.changed_fields(fields.iloc[at].to_dict(), build))
            for at in own.tolist()
        ]
        return int(own[int(np.argmin(counts))])

    def _learned(self, own: Ints, at: int) -> _Measured:
        """Return what the sheets of an engine tell that the model has learned from."""
        model, sweeps = self._model, self._model.sweeps[own]
        others = tuple(model.sheet_ids[other] for other in own.tolist() if other != at)
        return _Measured(
            model.fields.iloc[at].to_dict(), self._with_learned(own), self._known.labels[at],
            others,
            (float(sweeps[:, 0].min()), float(sweeps[:, 1].max())),
        )  # fmt: skip

    def _with_learned(self, own: Ints) -> KnownSheets:
        """Return the sheets of an engine that the model has learned from."""
        key = tuple(own.tolist())
        if key not in self._learned_sheets:
            self._learned_sheets[key] = known_sheets.learned(self._model, own)
        return self._learned_sheets[key]

    def _by_pulls(self, start: Start, code: str | None) -> _Measured:
        """Return what measured pulls tell, each counted once."""
        model = self._model
        pulls = typed_builds(pull.sheet for pull in start.pulls).assign(shop=code)
        row = pulls.iloc[0]
        named = (str(name) for name in pulls["engine"] if pd.notna(name))
        pulls = pulls.assign(engine=next(named, f"{_UNNAMED}{row['sheet_id']}"))
        labels = self._known.of(pulls)
        learned = [
            find_sheet(model, pulls.iloc[at], pull.rpm, pull.torque)
            for at, pull in enumerate(start.pulls)
        ]
        for at in learned:
            if at is not None:
                labels[:, -1] = self._known.labels[at, -1]
        own = np.flatnonzero(self._known.labels[:, -1] == labels[0, -1])
        new = [at for at, place in enumerate(learned) if place is None]
        off, unlikely, sheets = 0.0, None, self._with_learned(own)
        if new:
            given = pulls.iloc[new], [start.pulls[at] for at in new], labels[new]
            sheets = sheets.joined(*given)
            if 0 in new:
                off, unlikely = _judge(model, known_sheets.readings(model, *given), start.named)
        rpm = np.concatenate([pull.rpm for pull in start.pulls])
        others = [pull.sheet.sheet_id for pull in start.pulls[1:]]
        others += [
            model.sheet_ids[at] for at in own.tolist()
            if at not in learned and model.sheet_ids[at] not in others
        ]  # fmt: skip
        values = start.named.sheet.values
        return _Measured(
            row.to_dict(), sheets, labels[0], tuple(others), (float(rpm.min()), float(rpm.max())),
            None if values.get("tested_on") is None else str(values["tested_on"]),
            str(values.get("stated_correction") or values.get("correction") or "") or None,
            off, unlikely,
        )  # fmt: skip


def _completed(builds: pd.DataFrame, taken: Mapping[str, Mapping[int, Any]]) -> pd.DataFrame:
    """Return builds with values put in, by field and row."""
    columns = {}
    for name, values in taken.items():
        columns[name] = builds[name].array.copy()
        columns[name][list(values)] = list(values.values())
    return builds.assign(**columns)


def _text_of(value: object) -> str | None:
    return value if isinstance(value, str) else None


def _judge(model: Model, pulls: Readings, pull: Pull) -> tuple[float, str | None]:
    """Return how far the first pull is off for its build, and what is said if that is unlikely."""
    one = pulls.part(np.array([0]))
    known = model.effects.posterior(one)
    off = float(np.mean(one.target - known.mean))
    joint = model.effects.covariance(known, known, same=True)
    sd = float(np.sqrt(joint.mean()))
    if abs(off) < max(_UNLIKELY * sd, _LEAST_OFF):
        return off, None
    percent = 100 * np.expm1(abs(off)) if off > 0 else -100 * np.expm1(off)
    way = "more" if off > 0 else "less"
    mistaken = min(abs(abs(off) - size) for size in _MISTAKES) < max(_NEAR, sd)
    hint = (
        "lb-ft taken for N.m or kW for hp, or the reverse, would look like this"
        if mistaken
        else "check its units, its correction, and the bore and stroke of the build"
    )
    return off, (
        f"The measured pull {pull.sheet.sheet_id} makes {percent:.0f} % {way} than is likely for"
        f" such a build: {hint}."
    )
