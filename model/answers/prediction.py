"""The prediction of one build: its curve, its limits and its standing."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pullbook.model.answers.missing_fields import worth
from pullbook.model.learning import smooth_curves
from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.schemas.answer import Answer, Between, Peak, Point

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.model.answers.missing_fields import Swing
    from pullbook.model.learning.sample import Floats, Ints
    from pullbook.model.limits.calibration import Regime
    from pullbook.model.limits.conformal import Scores
    from pullbook.schemas.answer import Missing, Reason, Standing

#: Number of the nearest sheets that must have been swept over an engine speed to support it.
_SUPPORT = 3
#: Number of nearest sheets that are named.
_NAMED = 5
#: Step of the search for a peak, rev/min.
_FINE = 25.0
#: Number of engine speeds in the mean over a band.
BAND_POINTS = 41
#: The mean over a narrower band is given the error of a single reading, rev/min.
NARROW = 800.0


@dataclass(frozen=True, slots=True)
class Prediction:
    """The prediction of one build.

    Everything shown about a build comes from here: `answer` for text, JSON and pages, and `torque`,
    `width`, `points`, `mean` and `peaks` for charts and comparisons.

    Attributes
    ----------
    sheet_id
        Name of the build.
    speeds
        The grid of engine speeds, rev/min.
    log_torque
        Logarithm of lb-ft per cubic inch of charge on the grid.
    spread
        Expected relative error on the grid, wider if the build is outside the data.
    size
        Charge: displacement times the manifold pressure ratio, in³.
    regime
        The scores for its limits; ``None`` if there are none.
    known_shop
        Whether they are those for a shop in the training data.
    sweeps
        Lowest and highest rpm of the nearest sheets, shape (sheets, 2).
    nearest, near_names, distances
        Positions, names and distances of those sheets.
    reasons, standing
        Whether it is inside, at the edge of or outside the data, and why.
    widened
        The factor by which its limits were widened.
    place
        The build as a point, for its distance to others.
    swings
        Fields that are not given, and how far each could move the curve.
    bundle
        The entries of the bundle's manifest.
    """

    sheet_id: str
    speeds: Floats
    log_torque: Floats
    spread: Floats
    size: float
    regime: Regime | None
    known_shop: bool
    sweeps: Floats
    nearest: Ints
    near_names: tuple[str, ...]
    distances: Floats
    reasons: list[Reason]
    standing: Standing
    widened: float
    place: Floats
    swings: tuple[Swing, ...]
    bundle: Mapping[str, Any]

    def answer(self, rpm: Floats, level: float) -> Answer:
        """Return the answer at engine speeds, rev/min, with limits at a level."""
        peaks = self.peaks(rpm, level)
        near = zip(self.near_names[:_NAMED], self.distances.tolist(), strict=False)
        return Answer(
            sheet_id=self.sheet_id,
            standing=self.standing,
            reasons=self.reasons,
            level=level,
            calibrated=self.calibrated(level),
            known_shop=self.known_shop,
            widened=self.widened,
            curve=self.points(rpm, level),
            peak_torque=peaks.torque,
            peak_power=peaks.power,
            nearest=list(near),
            missing=self.missing(level),
            bundle=dict(self.bundle),
        )

    def missing(self, level: float) -> list[Missing]:
        """Return the fields not given, the one that would narrow the limits most first."""
        return worth(self.swings, self.half_width(level))

    def threshold(self, part: str, level: float) -> float | None:
        """Return the half-width of the limits of a part of `Regime`, in expected errors."""
        if self.regime is None:
            return None
        scores: Scores = getattr(self.regime, part)
        return scores.threshold(level)

    def calibrated(self, level: float) -> bool:
        """Return whether there are enough shops for limits at a level."""
        return self.threshold("point", level) is not None

    def half_width(self, level: float) -> float | None:
        """Return the mean relative half-width of the limits, or ``None`` without limits."""
        factor = self.threshold("point", level)
        return None if factor is None else factor * float(np.mean(self.spread))

    def torque(self, rpm: Floats) -> Floats:
        """Return torque at engine speeds, lb-ft."""
        torque: Floats = np.exp(reader_of(self.speeds, rpm) @ self.log_torque) * self.size
        return torque

    def width(self, rpm: Floats) -> Floats:
        """Return the expected relative error at engine speeds."""
        width: Floats = reader_of(self.speeds, rpm) @ self.spread
        return width

    def supported(self, rpm: Floats) -> NDArray[np.bool_]:
        """Return which engine speeds enough of the nearest sheets were swept over."""
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
        """Return the highest supported points between the first and the last engine speed given.

        A peak is ``None`` if no speed between them is supported. Limits of its speed end where the
        supported speeds do: the highest value over them lies at one of them.
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
                    rpm=_inside(
                        between(rpm, self.widened, self.threshold(f"{name}_rpm", level)), fine
                    ),
                    at_end=at_end,
                )
                for name, (height, rpm, at_end), width in zip(
                    Peaks._fields, tops, widths, strict=True
                )
            )
        )


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
        torque: Floats = np.exp(self.log_torque @ reader_of(self.speeds, rpm).T)
        return torque * self.size[:, None]


class Peaks(NamedTuple):
    """The peaks of torque and of power; ``None`` if no speed is supported."""

    torque: Peak | None
    power: Peak | None


def reader_of(speeds: Floats, rpm: Floats) -> Floats:
    """Return `smooth_curves.reader`, cached for the same engine speeds."""
    return _cached_reader(speeds.tobytes(), np.asarray(rpm, dtype=float).tobytes())


@lru_cache(maxsize=64)
def _cached_reader(speeds: bytes, rpm: bytes) -> Floats:
    return smooth_curves.reader(np.frombuffer(speeds), np.frombuffer(rpm))


def _betweens(values: Floats, width: Floats, factor: float | None) -> list[Between]:
    """Return `between` of many values."""
    if factor is None:
        return [Between(value, None, None) for value in values.tolist()]
    ratio = np.exp(width * factor)
    return list(map(Between, values.tolist(), (values / ratio).tolist(), (values * ratio).tolist()))


def _inside(speed: Between, rpm: Floats) -> Between:
    """Return the speed of a peak with limits that do not reach beyond the speeds answered."""
    if speed.low is None or speed.high is None:
        return speed
    first, last = float(rpm[0]), float(rpm[-1])
    return Between(speed.value, max(speed.low, first), min(speed.high, last))


def between(value: float, width: float, factor: float | None) -> Between:
    """Return a value with limits at the same ratio above and below it."""
    if factor is None:
        return Between(value, None, None)
    ratio = math.exp(width * factor)
    return Between(value, value / ratio, value * ratio)
