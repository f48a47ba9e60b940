"""Explaining a curve: the effect of each group of parts, and how the nearest sheets differ.

Starting from the typical build of the data, the groups of parts of a build are put in one after the
other; see `part_shares`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pullbook.model.comparison import part_shares
from pullbook.model.prediction.predict import predict
from pullbook.model.trained.build_curves import curves_of
from pullbook.model.trained.engines import Engines
from pullbook.schemas.answer import Missing, rounded
from pullbook.schemas.fields import CURATED_FIELDS, FIELDS
from pullbook.schemas.part_groups import GROUPS

if TYPE_CHECKING:
    from pullbook.model.learning.sample import Floats
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.model.trained.build_curves import BuildCurves
    from pullbook.model.trained.start import Learned, Start
    from pullbook.model.trained.trained_model import Model

_NAMED, _DIFFERENCES = 5, 4
_ALIKE = 0.02


@dataclass(frozen=True, slots=True)
class Near:
    """A sheet near a build: its name, its distance, and the fields in which the two differ most."""

    sheet_id: str
    distance: float
    differs: list[tuple[str, str, str]]


@dataclass(frozen=True, slots=True)
class Explanation:
    """Why a curve is what it is.

    Attributes
    ----------
    sheet_id
        Name of the build.
    rpm
        Engine speeds, rev/min.
    typical, torque
        Curve of the typical build of the data, and that of the build, lb-ft.
    parts
        What each group of parts adds to the typical curve, lb-ft by engine speed.
    nearest
        The nearest sheets.
    missing
        Fields the build does not give, the one that would narrow the limits most first.
    found
        The prediction of the build.
    curves
        Curves of the typical build with each set of groups of the build put in.
    """

    sheet_id: str
    rpm: Floats
    typical: Floats
    torque: Floats
    parts: dict[str, Floats]
    nearest: list[Near]
    missing: list[Missing]
    found: Prediction
    curves: BuildCurves

    def at(self, rpm: Floats) -> Explanation:
        """Return the same explanation at other engine speeds, rev/min."""
        return replace(self, rpm=rpm, **_curves(self.curves.torque(rpm)))

    def times(self, factor: float) -> Explanation:
        """Return the explanation with all torque multiplied by a factor."""
        return replace(
            self,
            typical=factor * self.typical,
            torque=factor * self.torque,
            parts={name: factor * part for name, part in self.parts.items()},
        )

    def as_json(self) -> dict[str, Any]:
        """Return the explanation as the object that ``explain --json`` prints."""
        return {
            "sheet_id": self.sheet_id,
            "standing": self.found.standing.value,
            "supported": self.found.supported(self.rpm).tolist(),
            "rpm": self.rpm.tolist(),
            "typical": [rounded(t) for t in self.typical.tolist()],
            "torque": [rounded(t) for t in self.torque.tolist()],
            "parts": {
                name: [rounded(t) for t in part.tolist()] for name, part in self.parts.items()
            },
            "nearest": [
                {
                    "sheet_id": near.sheet_id,
                    "distance": rounded(near.distance, 4),
                    "differs": [
                        {"field": f, "here": here, "there": there}
                        for f, here, there in near.differs
                    ],
                }
                for near in self.nearest
            ],
            "missing": [missing.as_json() for missing in self.missing],
        }


def explain(
    model: Model,
    build: pd.DataFrame,
    rpm: Floats,
    level: float,
    code: str | None = None,
    start: Start | Learned | None = None,
) -> Explanation:
    """Return why a model predicts what it does for a build.

    Parameters
    ----------
    model
        The model.
    build
        One typed build, a table with one row.
    rpm
        Engine speeds, rev/min.
    level
        Confidence level of the limits that a missing field would narrow.
    code
        Code of the shop that would test it, if it is known.
    start
        The measured pulls of its engine, if any. What was measured takes the place of the typical
        build, so that the parts that were changed are explained.

    """
    build = build[list(CURATED_FIELDS)].assign(shop=code).astype({"shop": build["shop"].dtype})
    (found,) = predict(model, build, [code], starts=[start], alone=True)
    ready, typical = None, typical_build(model.fields)
    if found.measured is not None:
        build, (ready,) = Engines(model).ready(build, [start])
        build = build[list(CURATED_FIELDS)]
        typical = pd.DataFrame([ready.before])[list(CURATED_FIELDS)]
    typical = typical.astype(build.dtypes.to_dict())
    rows = part_shares.put_in(typical, build, list(GROUPS))
    curves = curves_of(model, rows, ready)
    return Explanation(
        sheet_id=str(build["sheet_id"].iloc[0]),
        rpm=rpm,
        **_curves(curves.torque(rpm)),
        nearest=[
            _near(model, build, int(position), float(far))
            for position, far in zip(found.nearest[:_NAMED], found.distances, strict=False)
        ],
        missing=found.missing(level),
        found=found,
        curves=curves,
    )


def _curves(torque: Floats) -> dict[str, Any]:
    """Return the typical curve, that of the build, and what each group adds.

    ``torque`` is that of the rows of `part_shares.put_in`, lb-ft, shape (rows, engine speeds).
    """
    parts = part_shares.shares(torque, list(GROUPS))
    return {"typical": torque[0], "torque": torque[-1], "parts": parts}


def typical_build(fields: pd.DataFrame) -> pd.DataFrame:
    """Return a build with the medians and the most frequent choices of a data set, as one row."""
    row: dict[str, Any] = {}
    for name in CURATED_FIELDS:
        known = fields[name].dropna()
        if known.empty or name in ("sheet_id", "shop", "family", "engine"):
            row[name] = None
        elif FIELDS[name].numeric:
            middle = float(known.astype(float).median())
            row[name] = round(middle) if str(fields[name].dtype) == "Int64" else middle
        else:
            row[name] = known.mode().iloc[0]
    row["sheet_id"] = "typical"
    if row["aspiration"] == "natural":
        row["boost"] = None
    return pd.DataFrame([row])


def _near(model: Model, build: pd.DataFrame, position: int, distance: float) -> Near:
    """Return a sheet with the fields in which it differs most, in standard deviations."""
    there, here = model.fields.iloc[position], build.iloc[0]
    differences: list[tuple[float, tuple[str, str, str]]] = []
    for name in [name for group in GROUPS.values() for name in group]:
        a, b = here[name], there[name]
        if pd.isna(a) or pd.isna(b) or a == b:
            continue
        if FIELDS[name].numeric:
            spread = float(model.fields[name].astype(float).std())
            size = abs(float(a) - float(b)) / spread if spread > 0 else 0.0
            values = (name, f"{float(a):.4g}", f"{float(b):.4g}")
        else:
            size, values = 1.0, (name, _word(a), _word(b))
        if size > _ALIKE:
            differences.append((size, values))
    differences.sort(key=lambda one: -one[0])
    largest = [values for _, values in differences[:_DIFFERENCES]]
    return Near(model.sheet_ids[position], distance, largest)


def _word(value: object) -> str:
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    return str(value)
