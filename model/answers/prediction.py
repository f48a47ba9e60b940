"""The prediction for one build: its curve, how wide its limits are, and where it stands."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pullbook.model.learning import smooth_curves
from pullbook.model.learning.sample import charge
from pullbook.model.limits import expected_error
from pullbook.model.range import inside_or_outside as standing_of
from pullbook.model.range import novelty
from pullbook.pipeline.features import feature_table
from pullbook.pipeline.values.units import TORQUE_POWER_CONSTANT
from pullbook.schemas.answer import Between, Peak, Point, Standing

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from pullbook.model.learning.sample import Floats, Ints
    from pullbook.model.limits.calibration import Regime
    from pullbook.model.limits.conformal import Scores
    from pullbook.model.training.train_model import Model
    from pullbook.schemas.answer import Reason, Standing

#: Sheets that say whether an rpm is supported, and how many of them must have been swept over it.
_ASKED, _SUPPORT = 12, 3
#: Limits of a build that stands outside are widened by at least, and by at most.
_LEAST_WIDER, _MOST_WIDER = 1.5, 4.0
#: Steps, rev/min, in which a peak is looked for.
_FINE = 25.0
#: Engine speeds over which a band's mean is taken.
BAND_POINTS = 41
#: A mean over a narrower band is taken to err like a single reading, rev/min.
NARROW = 800.0
_SIZES = ("displacement", "cylinder_displacement")


@dataclass(frozen=True, slots=True)
class Prediction:
    """What a model says of one build.

    Attributes
    ----------
    speeds
        The grid of engine speeds, rev/min.
    log_torque
        Logarithm of lb-ft for each cubic inch of charge on the grid.
    spread
        Expected relative error on the grid, wider where the build stands outside.
    size
        Displacement at the pressure of the manifold, in³.
    regime
        The scores its limits are made with; ``None`` where there are none.
    known_shop
        Whether they are those of a shop that the model knows.
    sweeps
        Lowest and highest rpm of the nearest sheets, shape (sheets, 2).
    nearest, distances
        Positions of those sheets and how far they are.
    reasons, standing
        Where it stands, and why.
    widened
        What its limits were multiplied by.
    place
        The build as a point, for its distance to another.
    """

    speeds: Floats
    log_torque: Floats
    spread: Floats
    size: float
    regime: Regime | None
    known_shop: bool
    sweeps: Floats
    nearest: Ints
    distances: Floats
    reasons: list[Reason]
    standing: Standing
    widened: float
    place: Floats

    def threshold(self, part: str, level: float) -> float | None:
        """Return how many expected errors wide the limits of a part of `Regime` are."""
        if self.regime is None:
            return None
        scores: Scores = getattr(self.regime, part)
        return scores.threshold(level)

    def calibrated(self, level: float) -> bool:
        """Tell whether the shops suffice for limits at a level."""
        return self.threshold("point", level) is not None

    def half_width(self, level: float) -> float | None:
        """Return the mean relative half-width of the limits, or ``None`` without limits."""
        factor = self.threshold("point", level)
        return None if factor is None else factor * float(np.mean(self.spread))

    def torque(self, rpm: Floats) -> Floats:
        """Return torque at engine speeds, lb-ft."""
        torque: Floats = np.exp(_reader(self.speeds, rpm) @ self.log_torque) * self.size
        return torque

    def width(self, rpm: Floats) -> Floats:
        """Return the expected relative error at engine speeds."""
        width: Floats = _reader(self.speeds, rpm) @ self.spread
        return width

    def supported(self, rpm: Floats) -> NDArray[np.bool_]:
        """Tell which engine speeds enough of the nearest sheets were swept over."""
        swept = (self.sweeps[:, :1] <= rpm) & (rpm <= self.sweeps[:, 1:])
        enough: NDArray[np.bool_] = swept.sum(axis=0) >= min(_SUPPORT, len(self.sweeps))
        return enough

    def points(self, rpm: Floats, level: float) -> list[Point]:
        """Return the curve at engine speeds with limits at a level."""
        torque, width = self.torque(rpm), self.width(rpm)
        power = torque * (rpm / TORQUE_POWER_CONSTANT)
        single, whole = self.threshold("point", level), self.threshold("band", level)
        return list(
            map(
                Point,
                rpm.tolist(),
                _betweens(torque, width, single),
                _betweens(torque, width, whole),
                _betweens(power, width, single),
                self.supported(rpm).tolist(),
            )
        )

    def mean(self, band: tuple[float, float], level: float) -> Between:
        """Return the mean torque over a band of engine speeds, lb-ft, with limits at a level."""
        rpm = np.linspace(*band, BAND_POINTS)
        width = float(np.mean(self.width(rpm)))
        factor = self.threshold("mean", level)
        single = self.threshold("point", level)
        if band[1] - band[0] < NARROW and factor is not None and single is not None:
            factor = max(factor, single)
        return between(float(np.mean(self.torque(rpm))), width, factor)

    def peaks(self, rpm: Floats, level: float) -> Peaks:
        """Return the highest supported points from the first to the last engine speed given.

        ``None`` where no speed between them is supported.
        """
        fine = np.append(np.arange(rpm[0], rpm[-1], _FINE), rpm[-1])
        supported = self.supported(fine)
        if not supported.any():
            return Peaks(None, None)
        torque = self.torque(fine)[supported]
        fine = fine[supported]
        power = torque * (fine / TORQUE_POWER_CONSTANT)
        tops = [smooth_curves.peak(fine, values) for values in (torque, power)]
        both, where = np.zeros(2, dtype=np.int64), np.array([rpm for _, rpm, _ in tops])
        widths = smooth_curves.at(self.spread[None, :], self.speeds, both, where).tolist()
        return Peaks(
            *(
                Peak(
                    height=between(height, width, self.threshold(name, level)),
                    rpm=between(rpm, self.widened, self.threshold(f"{name}_rpm", level)),
                    at_end=at_end,
                )
                for name, (height, rpm, at_end), width in zip(
                    Peaks._fields, tops, widths, strict=True
                )
            )
        )


class Peaks(NamedTuple):
    """The peaks of torque and of power; ``None`` where nothing is supported."""

    torque: Peak | None
    power: Peak | None


def _reader(speeds: Floats, rpm: Floats) -> Floats:
    """Return `smooth_curves.reader`, kept where the same engine speeds are asked about again."""
    return _kept_reader(speeds.tobytes(), np.asarray(rpm, dtype=float).tobytes())


@lru_cache(maxsize=64)
def _kept_reader(speeds: bytes, rpm: bytes) -> Floats:
    return smooth_curves.reader(np.frombuffer(speeds), np.frombuffer(rpm))


def _betweens(values: Floats, width: Floats, factor: float | None) -> list[Between]:
    """Return `between` of each of many."""
    if factor is None:
        return [Between(value, None, None) for value in values.tolist()]
    ratio = np.exp(width * factor)
    return list(map(Between, values.tolist(), (values / ratio).tolist(), (values * ratio).tolist()))


def between(value: float, width: float, factor: float | None) -> Between:
    """Return limits that are the same ratio above and below a value."""
    if factor is None:
        return Between(value, None, None)
    ratio = math.exp(width * factor)
    return Between(value, value / ratio, value * ratio)


def predict(model: Model, builds: pd.DataFrame, shops: Sequence[str | None]) -> list[Prediction]:
    """Return what a model says of builds, in their order.

    Parameters
    ----------
    model
        The model.
    builds
        Typed builds, as `build_table.typed_builds` gives them.
    shops
        The code of the shop that each build is said to come from, or ``None``.

    """
    table = feature_table.make(builds, model.filling)
    curves = model.curve.curves(table)
    distances, positions = model.reference.nearest(table, _ASKED)
    distance = novelty.mean_distance(distances)
    spreads = (
        np.zeros_like(curves)
        if model.spread is None
        else expected_error.expected(model.spread, model.curve.speeds, table, distance)
    )
    known = {code: i for i, code in enumerate(model.shop_codes)}
    charges = charge(table).tolist()
    places = model.reference.places_of(table)
    apart = model.together.apart(builds)
    why = standing_of.reasons(model.reference, builds, table[list(_SIZES)], distance, apart)
    predictions = []
    for i, reasons in enumerate(why):
        shop = known.get(shops[i] or "")
        standing = standing_of.standing(reasons)
        outside = standing is Standing.OUTSIDE
        widened = _widened(model, float(distance[i])) if outside else 1.0
        predictions.append(
            Prediction(
                speeds=model.curve.speeds,
                log_torque=curves[i] + (0.0 if shop is None else model.shop_offsets[shop]),
                spread=spreads[i] * widened,
                size=charges[i],
                regime=model.new_shop if shop is None else model.known_shop,
                known_shop=shop is not None,
                sweeps=model.sweeps[positions[i]],
                nearest=positions[i],
                distances=distances[i],
                reasons=reasons,
                standing=standing,
                widened=widened,
                place=places[i],
            )
        )
    return predictions


def _widened(model: Model, distance: float) -> float:
    beyond = distance / model.reference.outside
    return float(np.clip(_LEAST_WIDER * max(1.0, beyond), _LEAST_WIDER, _MOST_WIDER))
