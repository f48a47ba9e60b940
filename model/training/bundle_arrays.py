"""The arrays of a bundle: the parts of a model as plain named arrays, and back."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pullbook.model.learning.gaussian_process import Process
from pullbook.model.limits.calibration import REGIME_PARTS, Regime
from pullbook.model.limits.conformal import Scores
from pullbook.model.limits.difference_errors import PAIR_PARTS, Pairs, PairScores
from pullbook.model.range.novelty import Reference, seen_choices
from pullbook.model.training.train_model import Model
from pullbook.schemas.errors import InputError


class BundleError(InputError):
    """A bundle that cannot be used; the message says what is wrong and what to do."""


_REGIMES = ("new_shop", "known_shop")


_COUPLES = ("one_shop", "two_shops")


Arrays = dict[str, NDArray[Any]]


def arrays_of(model: Model) -> Arrays:
    """Return the arrays of a model that a bundle stores, by name."""
    reference = model.reference
    arrays: Arrays = {
        "speeds": model.curve.speeds,
        "share": np.array(model.curve.share),
        **{f"process.{name}": _array(part) for name, part in _parts(model.curve.process)},
        "names": np.array(reference.names, dtype=np.str_),
        "center": reference.center,
        "scale": reference.scale,
        "relevance": reference.relevance,
        "places": reference.places,
        "shop": reference.shop,
        "thresholds": np.array([reference.edge, reference.outside]),
        "together": np.array(model.combinations.limits),
        "ranged": np.array(list(reference.ranges), dtype=np.str_),
        "ranges": np.array(list(reference.ranges.values())),
        "shop_codes": np.array(model.shop_codes, dtype=np.str_),
        "shop_offsets": model.shop_offsets,
        "sweeps": model.sweeps,
    }
    for name in _REGIMES:
        regime = getattr(model, name)
        for part in REGIME_PARTS if regime is not None else ():
            arrays |= _scores_as(f"{name}.{part}", getattr(regime, part))
    for name in _COUPLES if model.pairs is not None else ():
        for part in PAIR_PARTS:
            scores = getattr(getattr(model.pairs, name), part)
            arrays |= _scores_as(f"pairs.{name}.{part}", scores)
        couple = getattr(model.pairs, name)
        arrays[f"pairs.{name}.likeness"] = np.array([couple.likeness, couple.reach])
    return arrays


def _scores_as(name: str, scores: Scores) -> Arrays:
    return {
        f"{name}.values": scores.values,
        f"{name}.mass": scores.mass,
        f"{name}.shops": np.array(scores.shops),
    }


def _parts(fitted: Process) -> list[tuple[str, Any]]:
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


def reference_of(arrays: Arrays, builds: pd.DataFrame) -> Reference:
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
        seen=seen_choices(builds),
    )


def regime_of(arrays: Arrays, name: str) -> Regime | None:
    """Return the scores of a regime, or ``None`` if it has none."""
    if f"{name}.{REGIME_PARTS[0]}.values" not in arrays:
        return None
    return Regime(**{part: _scores(arrays, f"{name}.{part}") for part in REGIME_PARTS})


def pairs_of(arrays: Arrays) -> Pairs | None:
    """Return the scores of differences, or ``None`` if there are none."""
    if f"pairs.{_COUPLES[0]}.{PAIR_PARTS[0]}.values" not in arrays:
        return None
    return Pairs(
        **{
            name: PairScores(
                **{part: _scores(arrays, f"pairs.{name}.{part}") for part in PAIR_PARTS},
                likeness=float(arrays[f"pairs.{name}.likeness"][0]),
                reach=float(arrays[f"pairs.{name}.likeness"][1]),
            )
            for name in _COUPLES
        }
    )


def _scores(arrays: Arrays, name: str) -> Scores:
    return Scores(arrays[f"{name}.values"], arrays[f"{name}.mass"], int(arrays[f"{name}.shops"]))
