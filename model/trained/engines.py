"""What is known of the engines of builds: the effects, with the pulls of each engine."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
import pandas as pd

from pullbook.model.learning import effect_points, smooth_curves
from pullbook.model.learning.effects import Readings
from pullbook.model.learning.sample import charge
from pullbook.model.range import tested_changes
from pullbook.model.trained.find_sheet import find_sheet
from pullbook.model.trained.start import Learned, Start, take_over
from pullbook.pipeline.builds.build_table import typed_builds
from pullbook.pipeline.features import feature_table
from pullbook.schemas.answer import FromMeasured

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.learning.effects import Process
    from pullbook.model.learning.sample import Floats, Ints
    from pullbook.model.trained.pulls import Pull
    from pullbook.model.trained.trained_model import Model

#: Readings of a measured pull that count.
_PER_PULL = 8
#: A pull is unlikely for its build if its level is off by so many standard deviations and by so
#: much on the logarithmic scale.
_UNLIKELY, _LEAST_OFF = 3.0, 0.1
#: What torque is off by if a unit was mistaken, on the logarithmic scale: N.m for lb-ft, hp for kW.
_MISTAKES = (np.log(1.35582), np.log(1.34102))
_NEAR = 0.12
#: Name of an engine that nothing else can have.
_UNNAMED = "\0"


class Ready(NamedTuple):
    """A build with the process that knows its engine.

    Attributes
    ----------
    build
        The typed build, a table with one row, with what was taken over.
    process
        The process.
    labels
        Numbers of shop, family and engine of the build, shape (3,).
    told
        What the answer says of the measured pulls; ``None`` if there are none.
    before
        The build that was measured; ``None`` if there is none.
    """

    build: pd.DataFrame
    process: Process
    labels: Ints
    told: FromMeasured | None
    before: pd.Series | None = None


@dataclass(slots=True)
class Engines:
    """Finds what is known of the engines of builds.

    Attributes
    ----------
    model
        The model.
    """

    model: Model
    _known: Ints | None = field(default=None, init=False)
    _processes: dict[object, Process] = field(default_factory=dict, init=False)

    def ready(self, build: pd.DataFrame, start: Start | Learned | None) -> Ready:
        """Return a build with the process that knows its engine, measured or not."""
        if isinstance(start, Start):
            return self._from_pulls(build, start)
        (labels,) = self._labels(build)
        if start is not None:
            labels = self._known_labels()[start.at]
        own = np.flatnonzero(self._known_labels()[:, -1] == labels[-1])
        process = self.model.effects
        if not len(own):
            return Ready(build, process, labels, None)
        if not self.model.own_dyno:
            process = self._conditioned(tuple(own.tolist()), self.model.readings.part(own))
        row = build.iloc[0]
        changes = [
            tested_changes.changed_fields(self.model.fields.iloc[at], row) for at in own.tolist()
        ]
        at = min(range(len(own)), key=lambda i: len(changes[i]))
        if start is not None:
            at = own.tolist().index(start.at)
        before = self.model.fields.iloc[own[at]]
        build, taken = take_over(build, before, changes[at])
        names = [self.model.sheet_ids[i] for i in own.tolist()]
        sweeps = self.model.sweeps[own]
        told = FromMeasured(
            names[at], tuple(changes[at]), tuple(taken), (*names[:at], *names[at + 1 :]),
            sweep=(float(sweeps[:, 0].min()), float(sweeps[:, 1].max())),
        )  # fmt: skip
        return Ready(build, process, labels, told, before)

    def _from_pulls(self, build: pd.DataFrame, start: Start) -> Ready:
        model = self.model
        pulls = typed_builds(pull.sheet for pull in start.pulls)
        code = build["shop"].iloc[0]
        pulls = pulls.assign(shop=code)
        learned = [
            find_sheet(model, pulls.iloc[at], pull.rpm, pull.torque)
            for at, pull in enumerate(start.pulls)
        ]
        row = pulls.iloc[0]
        changed = tested_changes.changed_fields(row, build.iloc[0])
        build, taken = take_over(build, row, changed)
        named = (str(name) for name in pulls["engine"] if pd.notna(name))
        name = next(named, f"{_UNNAMED}{row['sheet_id']}")
        known = next((at for at in learned if at is not None), None)
        both = pd.concat([pulls, build]).assign(engine=name)
        labels = self._labels(both)
        if known is not None:
            labels[:, -1] = self._known_labels()[known, -1]
        new = [at for at, place in enumerate(learned) if place is None]
        own = np.flatnonzero(self._known_labels()[:, -1] == labels[-1, -1])
        off, unlikely, process = 0.0, None, model.effects
        if new:
            more = self._readings(pulls.iloc[new], [start.pulls[at] for at in new], labels[new])
            if 0 in new:
                off, unlikely = _judge(model, more, start.named)
            before = more if model.own_dyno else model.readings.part(own).joined(more)
            process = self._conditioned(id(start), before)
        elif not model.own_dyno:
            process = self._conditioned(tuple(own.tolist()), model.readings.part(own))
        rpm = np.concatenate([pull.rpm for pull in start.pulls])
        others = [pull.sheet.sheet_id for pull in start.pulls[1:]]
        others += [
            model.sheet_ids[at] for at in own.tolist()
            if at not in learned and model.sheet_ids[at] not in others
        ]  # fmt: skip
        values = start.named.sheet.values
        told = FromMeasured(
            start.named.sheet.sheet_id, tuple(changed), tuple(taken), tuple(others),
            None if values.get("tested_on") is None else str(values["tested_on"]),
            str(values.get("stated_correction") or values.get("correction") or "") or None,
            (float(rpm.min()), float(rpm.max())), off, unlikely,
        )  # fmt: skip
        return Ready(build, process, labels[-1], told, row)

    def _conditioned(self, key: object, readings: Readings) -> Process:
        """Return the model's process with more readings; the same one for the same key."""
        if key not in self._processes:
            self._processes[key] = self.model.effects.conditioned(readings)
        return self._processes[key]

    def _readings(self, pulls: pd.DataFrame, found: Sequence[Pull], labels: Ints) -> Readings:
        table = feature_table.make(pulls, self.model.filling)
        places = self.model.effects.inputs.places(table)
        start = start_curves(self.model, table)
        size = charge(table)
        doubt: list[float] = []
        sheet: list[int] = []
        speed, at, target = [np.zeros(0)], [np.zeros(0)], [np.zeros(0)]
        for number, pull in enumerate(found):
            few = np.unique(np.linspace(0, len(pull.rpm) - 1, _PER_PULL).round().astype(int))
            order = np.argsort(pull.rpm, kind="stable")
            rpm, torque = pull.rpm[order][few], pull.torque[order][few]
            doubt.append(pull.doubt)
            sheet += [number] * len(few)
            speed.append(np.log(rpm))
            at.append(effect_points.start_at(start[number : number + 1], self.model.speeds, rpm)[0])
            target.append(np.log(torque / size[number]))
        return Readings(
            places, labels, np.array(doubt), np.array(sheet, dtype=np.int64), np.concatenate(speed),
            np.concatenate(at), np.concatenate(target),
        )  # fmt: skip

    def _labels(self, builds: pd.DataFrame) -> Ints:
        """Return the labels of builds, numbered as those of the sheets learned from."""
        known = self.model.fields
        names = builds["engine"]
        unnamed = [f"{_UNNAMED}{at}" for at in range(len(builds))]
        builds = builds.assign(engine=names.where(names.notna(), pd.Series(unnamed, builds.index)))
        both = pd.concat([known, builds[list(known.columns)]], ignore_index=True)
        labels = effect_points.labels_of(both)
        self._known = labels[: len(known)]
        return labels[len(known) :].copy()

    def _known_labels(self) -> Ints:
        if self._known is None:
            self._known = effect_points.labels_of(self.model.fields)
        return self._known


class BuildCurves(NamedTuple):
    """Curves of many builds, without limits.

    Attributes
    ----------
    speeds
        The grid of engine speeds, rev/min.
    log_torque
        Logarithm of lb-ft per cubic inch of charge, shape (builds, grid).
    size
        Charge of each, in³, shape (builds,).
    """

    speeds: Floats
    log_torque: Floats
    size: Floats

    def torque(self, rpm: Floats) -> Floats:
        """Return torque at engine speeds, lb-ft, shape (builds, engine speeds)."""
        torque: Floats = np.exp(self.log_torque @ smooth_curves.reader_of(self.speeds, rpm).T)
        return torque * self.size[:, None]


def curves_of(model: Model, builds: pd.DataFrame, ready: Ready | None = None) -> BuildCurves:
    """Return the curves of many builds in one batch, without limits or standing.

    With ``ready`` they are builds of the engine that it is of.
    """
    table = feature_table.make(builds, model.filling)
    size, start = np.asarray(charge(table)), start_curves(model, table)
    if not model.own_dyno and (ready is None or ready.told is None):
        return BuildCurves(model.speeds, start, size)
    ready = ready or Engines(model).ready(builds.iloc[[0]], None)
    labels = np.tile(ready.labels, (len(builds), 1))
    places = ready.process.inputs.places(table)
    ahead = effect_points.Ahead(ready.process, places, labels, start, model.speeds)
    return BuildCurves(model.speeds, ahead.curves(), size)


def start_curves(model: Model, table: pd.DataFrame) -> Floats:
    """Return what effects start from, on the model's grid, shape (builds, speeds)."""
    if model.curve is None:
        return np.zeros((len(table), len(model.speeds)))
    curves = model.curve.curves(table)
    return effect_points.start_at(curves, model.curve.speeds, model.speeds)


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
