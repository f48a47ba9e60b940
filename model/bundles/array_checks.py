"""What the arrays of a bundle must be: every name, kind, shape and range, before any is used.

Answers are worked out from them without further thought, so an array of another size, or a
threshold out of order, would give a wrong answer instead of an error.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from pullbook.model.bundles.bundle_folder import BundleError
from pullbook.model.learning.effects import EFFECTS
from pullbook.model.learning.part_kernel import COLUMNS
from pullbook.model.limits.calibration import NEW_FAMILY, REGIME_PARTS, REGIMES
from pullbook.model.limits.difference_errors import PAIR_PARTS, SHARED
from pullbook.model.range.novelty import CHOICES, NUMBERS
from pullbook.pipeline.features.engineered_features import CATEGORIES
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping

    from pullbook.pipeline.storage.plain_arrays import Arrays

START = "start."
#: Most points of the grid of speeds, of the process, readings of one's own sheets, and scores.
_MOST = {"speeds": 400, "curve speeds": 400, "points": 4000, "readings": 60_000, "scores": 8000}
_MOST_OWN_READINGS = 4000
_LEAST_SPEED, _MOST_SPEED = 100.0, 30_000.0


class _Rule(NamedTuple):
    """What one array must be: its kind, its sizes by name or number, and its range."""

    kind: str
    sizes: tuple[str | int, ...] = ()
    low: float = -np.inf
    high: float = np.inf
    rising: bool = False


_ALWAYS = {
    "speeds": _Rule("f", ("speeds",), _LEAST_SPEED, _MOST_SPEED, rising=True),
    "own_dyno": _Rule("b"),
    "inputs.names": _Rule("U", ("inputs",)),
    "inputs.levels": _Rule("i", ("inputs",), -1),
    "inputs.group": _Rule("i", ("inputs",), 0, len(COLUMNS) - 1),
    "inputs.center": _Rule("f", ("inputs",)),
    "inputs.scale": _Rule("f", ("inputs",)),
    "effects.variances": _Rule("f", (len(EFFECTS),), 0),
    "effects.others": _Rule("f", (4,)),
    "readings.doubt": _Rule("f", ("sheets",), 0),
    "readings.sheet": _Rule("i", ("readings",), 0, rising=True),
    "readings.speed": _Rule("f", ("readings",), np.log(_LEAST_SPEED), np.log(_MOST_SPEED)),
    "readings.target": _Rule("f", ("readings",), -20, 20),
    "changed": _Rule("U", ("changed",)),
    "changes": _Rule("f", ("changed",), 0),
    "swaps": _Rule("U", ("swaps", 3)),
    "together": _Rule("f", (2,), 0),
    "shop_codes": _Rule("U", ("shops",)),
    "shop_offsets": _Rule("f", ("shops",), -3, 3),
    "sweeps": _Rule("f", ("sheets", 2), 0, _MOST_SPEED),
}
_OF_CURVE = {
    "share": _Rule("f", (), 0, 1),
    "curve.speeds": _Rule("f", ("curve speeds",), _LEAST_SPEED, _MOST_SPEED, rising=True),
    "process.columns": _Rule("U", ("columns",)),
    "process.levels": _Rule("i", ("columns",), -1),
    **{f"process.{name}": _Rule("f", ("columns",)) for name in ("center", "scale", "low", "high")},
    "process.places": _Rule("f", ("points", "columns")),
    "process.speeds": _Rule("f", ("points",), np.log(_LEAST_SPEED), np.log(_MOST_SPEED)),
    "process.weights": _Rule("f", ("points",)),
    "process.level": _Rule("f", (), -20, 20),
}
_OF_REFERENCE = {
    "names": _Rule("U", ("names",)),
    "center": _Rule("f", ("names",)),
    "scale": _Rule("f", ("names",), 1e-300),
    "relevance": _Rule("f", ("names",), 0, 1 + 1e-9),
    "places": _Rule("f", ("sheets", "coordinates")),
    "shop": _Rule("i", ("sheets",), 0),
    "thresholds": _Rule("f", (2,), 1e-12, rising=True),
    "ranged": _Rule("U", ("ranged",)),
    "ranges": _Rule("f", ("ranged", 2)),
    "margin": _Rule("f", (), 0),
    "seen": _Rule("U", ("seen", 2)),
    "seen_on": _Rule("i", ("seen",), 0),
}
_OF_SCORES = {
    "values": _Rule("f", ("scores",), 0, rising=True),
    "mass": _Rule("f", ("scores",), 0, 1 + 1e-9, rising=True),
    "groups": _Rule("i", (), 0, 1e6),
}


def check(arrays: Arrays, columns: Collection[str], sheets: int, *, curve: bool) -> None:
    """Check the arrays of a bundle.

    Parameters
    ----------
    arrays
        By name, as `plain_arrays.read` returns them.
    columns
        Columns of the table of features.
    sheets
        Number of builds.
    curve
        Whether there is a curve that effects start from.

    Raises
    ------
    BundleError
        One is missing, has another kind or shape, or holds what it must not; or there is another.

    """
    sizes: dict[str | int, int] = {"sheets": sheets}
    rules = {**_ALWAYS, **(_OF_CURVE if curve else {}), **_OF_REFERENCE, **_score_rules(arrays)}
    for name, rule in rules.items():
        _check_one(arrays, name, rule, {} if _is_score(name) else sizes)
    for name in rules:
        if name.endswith(".values"):
            _check_pair(arrays, name)
    _require(bool((arrays["readings.sheet"] < sheets).all()), "readings.sheet")
    begin = {f"{START}{name}": rule for name, rule in _OF_REFERENCE.items()}
    if any(name.startswith(START) for name in arrays):
        own: dict[str | int, int] = {}
        for name, rule in begin.items():
            _check_one(arrays, name, rule, own)
        _check_reference(arrays, START, columns)
        rules |= begin
    other = next((name for name in arrays if name not in rules), None)
    _require(other is None, str(other))
    _check_reference(arrays, "", columns)
    _check_names(arrays, columns, curve=curve)
    own_readings = bool(arrays["own_dyno"]) and sizes["readings"] > _MOST_OWN_READINGS
    _require(not own_readings, "readings.sheet")


def _score_rules(arrays: Arrays) -> dict[str, _Rule]:
    """Return the rules of the scores of all regimes and pairs that a bundle has."""
    found: dict[str, _Rule] = {}
    for name in (*REGIMES, *(f"{one}{NEW_FAMILY}" for one in REGIMES)):
        if f"{name}.{REGIME_PARTS[0]}.values" in arrays:
            found |= dict(_scores(name, REGIME_PARTS))
    for name in SHARED:
        if f"pairs.{name}.{PAIR_PARTS[0]}.values" in arrays:
            found |= dict(_scores(f"pairs.{name}", PAIR_PARTS))
            found[f"pairs.{name}.likeness"] = _Rule("f", (2,), 0)
    return found


def _scores(name: str, parts: Collection[str]) -> Iterator[tuple[str, _Rule]]:
    for part in parts:
        for kind, rule in _OF_SCORES.items():
            yield f"{name}.{part}.{kind}", rule


def _is_score(name: str) -> bool:
    return name.rpartition(".")[2] in (*_OF_SCORES, "likeness")


def _require(sound: bool, name: str) -> None:
    if not sound:
        msg = f"the bundle does not verify: the array {name!r} is not valid; train it again"
        raise BundleError(msg)


def _check_one(arrays: Arrays, name: str, rule: _Rule, sizes: dict[str | int, int]) -> None:
    _require(name in arrays, name)
    array = arrays[name]
    _require(array.dtype.kind == rule.kind and array.ndim == len(rule.sizes), name)
    for size, wanted in zip(array.shape, rule.sizes, strict=True):
        expected = wanted if isinstance(wanted, int) else sizes.setdefault(wanted, size)
        _require(size == expected and size <= _MOST.get(str(wanted), size), name)
    if rule.kind in "fi" and array.size:
        _require(rule.low <= float(array.min()) and float(array.max()) <= rule.high, name)
        _require(not rule.rising or bool((np.diff(array) >= 0).all()), name)


def _check_pair(arrays: Arrays, values: str) -> None:
    """Check that scores and their masses are as many, and that the pairs' likeness makes sense."""
    name = values.removesuffix(".values")
    _require(len(arrays[values]) == len(arrays[f"{name}.mass"]), values)
    if name.startswith("pairs."):
        likeness = f"{name.rpartition('.')[0]}.likeness"
        _require(likeness in arrays and arrays[likeness].shape == (2,), likeness)
        alike, reach = arrays[likeness].tolist()
        _require(0 <= alike <= 1 and reach > 0, likeness)


def _check_reference(arrays: Arrays, prefix: str, columns: Collection[str]) -> None:
    names = arrays[f"{prefix}names"].tolist()
    wide = sum(len(FIELDS[name].choices) if name in CATEGORIES else 1 for name in names)
    unique = len(set(names)) == len(names) and set(names) <= set(columns)
    _require(unique and arrays[f"{prefix}places"].shape[1] == wide, f"{prefix}names")
    ranged, ranges = arrays[f"{prefix}ranged"].tolist(), arrays[f"{prefix}ranges"]
    sound = len(set(ranged)) == len(ranged) and set(ranged) <= set(NUMBERS)
    _require(sound and bool((ranges[:, 0] <= ranges[:, 1]).all()), f"{prefix}ranges")
    _require(_are_choices(arrays[f"{prefix}seen"].tolist()), f"{prefix}seen")


def _are_choices(rows: list[list[str]]) -> bool:
    """Return whether each row is a field and some of its choices."""
    return all(row[0] in CHOICES and set(row[1:]) <= set(FIELDS[row[0]].choices) for row in rows)


def _check_names(arrays: Arrays, columns: Collection[str], *, curve: bool) -> None:
    _require(_are_choices(arrays["swaps"].tolist()), "swaps")
    _require(set(arrays["changed"].tolist()) <= set(NUMBERS), "changed")
    codes = arrays["shop_codes"].tolist()
    _require(len(set(codes)) == len(codes), "shop_codes")
    _require(bool((arrays["sweeps"][:, 0] <= arrays["sweeps"][:, 1]).all()), "sweeps")
    known: Mapping[str, Collection[str]] = {
        "inputs.names": {name for group in COLUMNS.values() for name in group} & set(columns),
        "process.columns": columns,
    }
    for name, allowed in known.items():
        if name in arrays:
            _require(set(arrays[name].tolist()) <= set(allowed), name)
    grids = ("speeds", "curve.speeds") if curve else ("speeds",)
    for name in grids:
        steps = np.diff(arrays[name])
        _require(len(steps) > 1, name)
        equal = np.allclose(steps, steps.mean(), rtol=1e-6, atol=0)
        _require(steps[0] > 0 and bool(equal), name)
