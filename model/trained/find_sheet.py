"""Recognise a sheet that a model has learned from, by what it made."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pullbook.pipeline.values.sheet import Build

if TYPE_CHECKING:
    from pullbook.model.learning.sample import Floats
    from pullbook.model.trained.trained_model import Model
    from pullbook.schemas.field import Value

#: Two pulls are the same if no reading differs by more than this share.
_SAME = 0.004


def find_sheet(model: Model, build: pd.Series, rpm: Floats, torque: Floats) -> int | None:
    """Return the position of the sheet learned from that has this size and this curve, if any.

    It is recognised by what it made, whatever it is called: readings at the reference condition
    agree but for the rounding of a contributed sheet.
    """
    sizes = pd.to_numeric(model.fields["displacement"]).to_numpy(dtype=float)
    size = float(build["displacement"])
    order = np.argsort(rpm)
    near = np.flatnonzero(np.abs(sizes / size - 1) < _SAME)
    readings = model.readings
    boost = 1 + np.nan_to_num(pd.to_numeric(model.fields["boost"]).to_numpy(float)) / 14.696
    for at in near.tolist():
        rows = readings.sheet == at
        speeds = np.exp(readings.speed[rows])
        if speeds.min() < rpm.min() - 1 or speeds.max() > rpm.max() + 1 or not rows.any():
            continue
        expected = np.log(np.interp(speeds, rpm[order], torque[order]) / (size * boost[at]))
        if np.abs(expected - readings.target[rows]).max() < _SAME:
            return at
    return None


def as_build(model: Model, name: str) -> Build | None:
    """Return the build of a sheet that a model has learned from, by the sheet's name."""
    if name not in model.sheet_ids:
        return None
    row = model.fields.iloc[model.sheet_ids.index(name)]
    values: dict[str, Value] = {
        str(field): value.item() if hasattr(value, "item") else value
        for field, value in row.items()
        if pd.notna(value)
    }
    return Build(sheet_id=name, source="", values=values)
