"""The arrays of a bundle: the parts of a model as plain named arrays, and back."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullbook.model.bundles.bundle_folder import BundleError
from pullbook.model.learning.curve_model import CurveModel
from pullbook.model.learning.effects import EFFECTS, LABELS, Constants, Readings
from pullbook.model.learning.effects import Process as EffectsProcess
from pullbook.model.learning.gaussian_process import Process
from pullbook.model.learning.part_kernel import COLUMNS, Inputs
from pullbook.model.limits.calibration import NEW_FAMILY, REGIME_PARTS, REGIMES, Regime
from pullbook.model.limits.conformal import Scores
from pullbook.model.limits.difference_errors import PAIR_PARTS, SHARED, PairScores
from pullbook.model.range.novelty import CHOICES, Reference
from pullbook.model.range.tested_changes import TestedChanges
from pullbook.model.trained.trained_model import Model

Arrays = dict[str, NDArray[Any]]
#: What the arrays of the start's reference are called by.
_START = "start."


def arrays_of(model: Model) -> Arrays:
    """Return the arrays of a model that a bundle stores, by name."""
    reference = model.reference
    arrays: Arrays = {
        "speeds": model.speeds,
        "own_dyno": np.array(model.own_dyno),
        **_curve_as(model.curve),
        **_effects_as(model.effects, model.readings),
        **_changes_as(model.changes),
        **_reference_as(_START, model.start_reference),
        **_reference_as("", reference),
        "together": np.array(model.combinations.limits),
        "shop_codes": np.array(model.shop_codes, dtype=np.str_),
        "shop_offsets": model.shop_offsets,
        "sweeps": model.sweeps,
    }
    for name, regime in model.regimes.items():
        for part in REGIME_PARTS:
            arrays |= _scores_as(f"{name}.{part}", getattr(regime, part))
    for name, couple in model.pairs.items():
        for part in PAIR_PARTS:
            arrays |= _scores_as(f"pairs.{name}.{part}", getattr(couple, part))
        arrays[f"pairs.{name}.likeness"] = np.array([couple.likeness, couple.reach])
    return arrays


def _reference_as(prefix: str, reference: Reference | None) -> Arrays:
    if reference is None:
        return {}
    found: Arrays = {
        "names": np.array(reference.names, dtype=np.str_),
        "center": reference.center,
        "scale": reference.scale,
        "relevance": reference.relevance,
        "places": reference.places,
        "shop": reference.shop,
        "thresholds": np.array([reference.edge, reference.outside]),
        "ranged": np.array(list(reference.ranges), dtype=np.str_),
        "ranges": np.array(list(reference.ranges.values())),
        "margin": np.array(reference.margin),
        "seen": np.array(
            [(name, choice) for name, found in reference.seen.items() for choice in found],
            dtype=np.str_,
        ).reshape(-1, 2),
        "seen_on": np.array(
            [count for found in reference.seen.values() for count in found.values()]
        ),
    }
    return {f"{prefix}{name}": part for name, part in found.items()}


def _curve_as(curve: CurveModel | None) -> Arrays:
    if curve is None:
        return {}
    return {
        "share": np.array(curve.share),
        "curve.speeds": curve.speeds,
        **{f"process.{name}": _array(part) for name, part in _parts(curve.process)},
    }


def _effects_as(process: EffectsProcess, readings: Readings) -> Arrays:
    """Return what effects are made anew from: inputs, constants and what was measured."""
    constants = process.constants
    return {
        **{f"inputs.{name}": _array(part) for name, part in _parts(process.inputs)},
        "effects.variances": constants.variances,
        "effects.others": np.array([constants.weight, *constants.center, constants.level]),
        "readings.doubt": readings.doubt,
        "readings.sheet": readings.sheet,
        "readings.speed": readings.speed,
        "readings.target": readings.target,
    }


def _changes_as(changes: TestedChanges) -> Arrays:
    swaps = [(name, *pair) for name, pairs in changes.choices.items() for pair in sorted(pairs)]
    return {
        "changed": np.array(list(changes.numbers), dtype=np.str_),
        "changes": np.array(list(changes.numbers.values())),
        "swaps": np.array(swaps, dtype=np.str_).reshape(-1, 3),
    }


def effects_of(arrays: Arrays, builds: pd.DataFrame) -> tuple[Inputs, Constants, Readings]:
    """Return inputs, constants and readings of the effects in a bundle's arrays.

    Places, labels and starting curves of the readings are left at zero.
    """
    parts = {field.name: arrays[f"inputs.{field.name}"] for field in fields(Inputs)}
    names = tuple(parts.pop("names").tolist())
    weight, start, target, level = arrays["effects.others"].tolist()
    constants = Constants(arrays["effects.variances"], weight, (start, target), level)
    given = {name: arrays[f"readings.{name}"] for name in ("doubt", "sheet", "speed", "target")}
    sheets, count = len(builds), len(given["sheet"])
    sound = (
        all(part.shape == (len(names),) for part in parts.values())
        and constants.variances.shape == (len(EFFECTS),)
        and given["doubt"].shape == (sheets,)
        and all(given[name].shape == (count,) for name in ("speed", "target"))
        and bool((np.diff(given["sheet"]) >= 0).all())
        and (count == 0 or (given["sheet"][0] >= 0 and given["sheet"][-1] < sheets))
        and all(
            bool(np.isfinite(part).all())
            for part in (*parts.values(), *given.values(), constants.variances)
        )
        and set(names) <= {name for group in COLUMNS.values() for name in group}
    )
    if not sound:
        msg = "the bundle does not verify: its effects are not valid; train it again"
        raise BundleError(msg)
    labels = np.zeros((sheets, len(LABELS)), dtype=np.int64)
    places, none = np.zeros((sheets, len(names))), np.zeros(count)
    return Inputs(names, **parts), constants, Readings(places, labels, start=none, **given)


def changes_of(arrays: Arrays) -> TestedChanges:
    """Return the tested changes in a bundle's arrays."""
    choices: dict[str, set[tuple[str, str]]] = {}
    for name, one, other in arrays["swaps"].tolist():
        choices.setdefault(name, set()).add((one, other))
    return TestedChanges(
        dict(zip(arrays["changed"].tolist(), arrays["changes"].tolist(), strict=True)),
        {name: frozenset(pairs) for name, pairs in choices.items()},
    )


def _scores_as(name: str, scores: Scores) -> Arrays:
    return {
        f"{name}.values": scores.values,
        f"{name}.mass": scores.mass,
        f"{name}.groups": np.array(scores.groups),
    }


def _parts(fitted: Process | Inputs) -> list[tuple[str, Any]]:
    return [(field.name, getattr(fitted, field.name)) for field in fields(fitted)]


def _array(part: Any) -> NDArray[Any]:
    return np.array(part, dtype=np.str_) if isinstance(part, tuple) else np.asarray(part)


def process_of(arrays: Arrays, names: set[str]) -> Process:
    """Return the Gaussian process in a bundle's arrays."""
    parts = {field.name: arrays[f"process.{field.name}"] for field in fields(Process)}
    columns_ = tuple(parts.pop("columns").tolist())
    level = float(parts.pop("level"))
    inputs, points = len(columns_), len(parts["weights"])
    shapes = {"places": (points, inputs), "weights": (points,), "speeds": (points,)}
    for name, part in parts.items():
        valid = part.shape == shapes.get(name, (inputs,)) and bool(np.isfinite(part).all())
        if not valid or not set(columns_) <= names:
            msg = f"the bundle does not verify: {name} of its process is not valid; train it again"
            raise BundleError(msg)
    return Process(columns=columns_, level=level, **parts)


def start_reference_of(arrays: Arrays) -> Reference | None:
    """Return the reference of what effects start from, if there is one in a bundle's arrays."""
    own = {
        name.removeprefix(_START): part for name, part in arrays.items() if name.startswith(_START)
    }
    return reference_of(own) if own else None


def reference_of(arrays: Arrays) -> Reference:
    """Return the reference for distances in a bundle's arrays."""
    edge, outside = arrays["thresholds"].tolist()
    return Reference(
        names=tuple(arrays["names"].tolist()),
        center=arrays["center"],
        scale=arrays["scale"],
        relevance=arrays["relevance"],
        places=arrays["places"],
        shop=arrays["shop"],
        edge=edge,
        outside=outside,
        ranges=dict(
            zip(arrays["ranged"].tolist(), map(tuple, arrays["ranges"].tolist()), strict=True)
        ),
        seen=_seen(arrays),
        margin=float(arrays["margin"]),
    )


def _seen(arrays: Arrays) -> dict[str, dict[str, int]]:
    seen: dict[str, dict[str, int]] = {name: {} for name in CHOICES}
    for (name, choice), count in zip(
        arrays["seen"].tolist(), arrays["seen_on"].tolist(), strict=True
    ):
        seen[name][choice] = int(count)
    return seen


def regimes_of(arrays: Arrays) -> dict[str, Regime]:
    """Return the scores of the regimes in a bundle's arrays."""
    return {
        name: Regime(**{part: _scores(arrays, f"{name}.{part}") for part in REGIME_PARTS})
        for name in (*REGIMES, *(f"{one}{NEW_FAMILY}" for one in REGIMES))
        if f"{name}.{REGIME_PARTS[0]}.values" in arrays
    }


def pairs_of(arrays: Arrays) -> dict[str, PairScores]:
    """Return the scores of differences in a bundle's arrays."""
    return {
        name: PairScores(
            **{part: _scores(arrays, f"pairs.{name}.{part}") for part in PAIR_PARTS},
            likeness=float(arrays[f"pairs.{name}.likeness"][0]),
            reach=float(arrays[f"pairs.{name}.likeness"][1]),
        )
        for name in SHARED
        if f"pairs.{name}.{PAIR_PARTS[0]}.values" in arrays
    }


def _scores(arrays: Arrays, name: str) -> Scores:
    return Scores(arrays[f"{name}.values"], arrays[f"{name}.mass"], int(arrays[f"{name}.groups"]))
