"""Measured sheets of one engine: what they tell of its effects, completed by what is asked.

A build that is asked about and the sheets of its engine complete one another: what was not swapped
is the same on all of them, whether it was written down or not.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pullbook.model.learning import effect_points, smooth_curves
from pullbook.model.learning.effects import Readings
from pullbook.model.learning.sample import charge
from pullbook.pipeline.features import feature_table
from pullbook.schemas.fields import BUILD_FIELDS, CURATED_FIELDS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.learning.effects import Process
    from pullbook.model.learning.sample import Floats, Ints
    from pullbook.model.trained.pulls import Pull
    from pullbook.model.trained.trained_model import Model

#: Readings of a measured pull that count.
_PER_PULL = 8


class KnownSheets:
    """The measured sheets of one engine.

    Attributes
    ----------
    builds
        Their builds; ``None`` where builds asked about are not completed by them.
    """

    def __init__(
        self, model: Model, builds: pd.DataFrame | None, known: Readings | None, process: Process
    ) -> None:
        """Take the sheets' builds and readings, and a process that knows none of these."""
        self.builds = None
        if builds is not None and known is not None and not model.own_dyno:
            self.builds = builds[list(CURATED_FIELDS)]
        self._model, self._known, self._process = model, known, process
        self._answers: dict[tuple[object, ...], tuple[Process, pd.DataFrame | None]] = {}

    def joined(self, pulls: pd.DataFrame, found: Sequence[Pull], labels: Ints) -> KnownSheets:
        """Return these sheets and others, as for `readings`."""
        more = readings(self._model, pulls, found, labels)
        if self._known is None:
            return KnownSheets(self._model, pulls, more, self._process)
        both = None
        if self.builds is not None:
            both = pd.concat([self.builds, _like(pulls, self.builds)])
        return KnownSheets(self._model, both, self._known.joined(more), self._process)

    def beside(self, asked: pd.DataFrame) -> tuple[Process, pd.DataFrame | None]:
        """Return the process that knows these sheets, and builds that complete those asked about.

        What builds asked about give and the sheets leave out completes the sheets.
        """
        if self._known is None:
            return self._process, None
        first: dict[tuple[object, ...], int] = {}
        if self.builds is not None:
            left_out = [name for name in BUILD_FIELDS if self.builds[name].isna().any()]
            for at, given in enumerate(asked[left_out].to_dict("records")):
                beyond = tuple((name, one) for name, one in given.items() if pd.notna(one))
                first.setdefault(beyond, at)
            first.pop((), None)
        key = tuple(first)
        if key not in self._answers:
            self._answers[key] = self._completed(self._known, asked.iloc[list(first.values())])
        return self._answers[key]

    def _completed(
        self, known: Readings, more: pd.DataFrame
    ) -> tuple[Process, pd.DataFrame | None]:
        model = self._model
        if self.builds is None:
            return self._process.conditioned(known), None
        rows = pd.concat([self.builds, _like(more, self.builds)])
        together = np.zeros(len(rows), dtype=np.int64)
        alone = feature_table.make(self.builds, model.filling)
        table = feature_table.make(rows, model.filling, together).iloc[: len(alone)]
        curves = start_curves(model, table)
        start = smooth_curves.at(curves, model.speeds, known.sheet, np.exp(known.speed))
        target = known.target + np.log(charge(alone) / charge(table))[known.sheet]
        places = model.effects.inputs.places(table)
        whole = replace(known, places=places, start=start, target=target)
        return self._process.conditioned(whole), rows


def learned(model: Model, own: Ints) -> KnownSheets:
    """Return the sheets of an engine that a model has learned from, at some positions.

    Sheets that name no engine may be of several; they do not complete one another.
    """
    builds = model.fields.iloc[own]
    one = not builds["engine"].isna().any()
    known = None if model.own_dyno or not len(own) else model.readings.part(own)
    return KnownSheets(model, builds if one else None, known, model.effects)


def readings(model: Model, pulls: pd.DataFrame, found: Sequence[Pull], labels: Ints) -> Readings:
    """Return measured pulls as readings.

    Parameters
    ----------
    model
        The model.
    pulls
        Their typed builds.
    found
        The pulls.
    labels
        Their numbers of shop, family and engine, shape (pulls, 3).

    """
    table = feature_table.make(pulls, model.filling)
    places = model.effects.inputs.places(table)
    start = start_curves(model, table)
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
        at.append(effect_points.start_at(start[number : number + 1], model.speeds, rpm)[0])
        target.append(np.log(torque / size[number]))
    return Readings(
        places, labels, np.array(doubt), np.array(sheet, dtype=np.int64), np.concatenate(speed),
        np.concatenate(at), np.concatenate(target),
    )  # fmt: skip


def features_of(
    model: Model, builds: pd.DataFrame, known: Sequence[pd.DataFrame | None]
) -> pd.DataFrame:
    """Return the features of builds, each completed by the known sheets of its engine, if any."""
    if all(own is None for own in known):
        return feature_table.make(builds, model.filling)
    different = {id(own): own for own in known if own is not None}
    rows = pd.concat([_like(builds, builds), *(_like(own, builds) for own in different.values())])
    first = len(builds)
    place = {}
    for name, own in different.items():
        place[name] = np.arange(first, first + len(own))
        first += len(own)
    taken, engine = [], []
    for at, of_engine in enumerate(known):
        mine = [] if of_engine is None else place[id(of_engine)].tolist()
        taken += [*mine, at]
        engine += [at] * (len(mine) + 1)
    asked = np.cumsum([1 if own is None else len(own) + 1 for own in known]) - 1
    table = feature_table.make(rows.iloc[taken], model.filling, np.array(engine))
    return table.iloc[asked]


def start_curves(model: Model, table: pd.DataFrame) -> Floats:
    """Return what effects start from, on the model's grid, shape (builds, speeds)."""
    if model.curve is None:
        return np.zeros((len(table), len(model.speeds)))
    curves = model.curve.curves(table)
    return effect_points.start_at(curves, model.curve.speeds, model.speeds)


def _like(builds: pd.DataFrame, others: pd.DataFrame) -> pd.DataFrame:
    """Return the fields of builds, of the same types as those of others."""
    names = list(CURATED_FIELDS)
    same: pd.DataFrame = builds[names].astype(others[names].dtypes.to_dict())
    return same
