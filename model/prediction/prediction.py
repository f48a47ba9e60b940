"""The prediction of one build: its curve, its limits and its standing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pullbook.model.learning.smooth_curves import reader_of
from pullbook.model.limits import calibration, highest
from pullbook.model.prediction.intervals import between, betweens, within
from pullbook.model.prediction.missing_fields import worth
from pullbook.model.range import tested_speeds
from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.schemas.answer import Answer, Peak, Point

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.model.learning.effect_points import Ahead
    from pullbook.model.learning.sample import Floats, Ints
    from pullbook.model.limits.calibration import Regime
    from pullbook.model.limits.conformal import Scores
    from pullbook.model.limits.difference_errors import PairScores
    from pullbook.model.prediction.missing_fields import Swing
    from pullbook.model.prediction.one_engine import Parts
    from pullbook.schemas.answer import Between, FromMeasured, Missing
    from pullbook.schemas.standing import Reason, Standing

#: Number of nearest sheets that are named.
_NAMED = 5
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
    regime_name
        What its limits are for; one of `calibration.REGIMES`.
    regime
        The scores for its limits; ``None`` if there are none.
    cautious
        Those for families left out as well, where its engine family is not known to the data;
        ``None`` if it is, or if there are too few families for them.
    family
        Whether its engine family is ``known`` to the data, ``new`` or ``not given``.
    measured
        What is said of the measured pulls of its engine; ``None`` if there are none.
    without
        The prediction without them; ``None`` if there are none.
    ahead, row
        What knows how the errors of this build go with those of others, and its place therein;
        ``None`` where limits do not come from effects.
    parts
        The build as one engine with its parts, where all that are asked are of one engine that was
        not measured; ``None`` where they are not.
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
    regime_name: str
    regime: Regime | None
    cautious: Regime | None
    family: str
    measured: FromMeasured | None
    without: Prediction | None
    ahead: Ahead | None
    row: int
    parts: Parts | None
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
            level=self.kept("point", level) or level,
            asked_level=level,
            calibrated=self.calibrated,
            groups=self._groups("point"),
            held_out=self.held_out,
            regime=self.regime_name,
            family=self.family,
            measured=self.measured,
            without=None if self.without is None else self.without.points(rpm, level),
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

    def scores(self, part: str) -> list[Scores]:
        """Return the scores of a part of `Regime`: those of all regimes that its limits obey."""
        found = (getattr(one, part) for one in (self.regime, self.cautious) if one is not None)
        return [] if self.regime is None else list(found)

    def kept(self, part: str, level: float) -> float | None:
        """Return the level that the limits of a part can keep; ``None`` without limits."""
        levels = [one.kept(level) for one in self.scores(part)]
        known = [one for one in levels if one is not None]
        return min(known) if levels and len(known) == len(levels) else None

    def factor(self, part: str, level: float) -> float | None:
        """Return the half-width of the limits of a part, in expected errors."""
        kept = self.kept(part, level)
        if kept is None:
            return None
        found = [one.threshold(kept) for one in self.scores(part)]
        return None if None in found else max(one for one in found if one is not None)

    def level_of(self, part: str, values: Floats) -> Floats:
        """Return the level whose limits would just include each error, in expected errors."""
        level: Floats = np.min([one.level(values) for one in self.scores(part)], axis=0)
        return level

    def threshold(self, part: str, level: float) -> float | None:
        """Return the same at exactly that level; ``None`` where limits cannot keep it."""
        return self.factor(part, level) if self.kept(part, level) == level else None

    @property
    def held_out(self) -> str:
        """What was left out for its limits: ``shop``, ``engine`` or ``family``."""
        if self.cautious is not None:
            return "family"
        return "shop" if self.regime_name == "new shop" else "engine"

    @property
    def calibrated(self) -> bool:
        """Whether there are enough groups for limits."""
        return self.kept("point", 0.5) is not None

    def half_width(self, level: float) -> float | None:
        """Return the mean relative half-width of the limits, or ``None`` without limits."""
        factor = self.factor("point", level)
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
        """Return which engine speeds its own pulls, or enough of the nearest, were swept over."""
        own = None if self.measured is None else np.array([self.measured.sweep])
        found: NDArray[np.bool_] = tested_speeds.supported(self.sweeps[None], own, rpm)[0]
        return found

    def answered(self, rpm: Floats) -> tuple[float, float]:
        """Return the first and the last supported of some engine speeds; NaN where none is."""
        own = None if self.measured is None else np.array([self.measured.sweep])
        low, high = tested_speeds.answered(self.sweeps[None], own, rpm)[0].tolist()
        return low, high

    def points(self, rpm: Floats, level: float) -> list[Point]:
        """Return the curve at engine speeds with limits at a level."""
        torque, width = self.torque(rpm), self.width(rpm)
        power = torque * (rpm / TORQUE_POWER_CONSTANT)
        single, whole = self.factor("point", level), self.factor("band", level)
        return list(
            map(
                Point,
                rpm.tolist(),
                betweens(torque, width, single),
                betweens(torque, width, whole),
                betweens(power, width, single),
                self.supported(rpm).tolist(),
            )
        )

    def mean(self, band: tuple[float, float], level: float) -> Between:
        """Return the mean torque over a band of engine speeds, lb-ft, with limits at a level."""
        rpm = np.linspace(*band, BAND_POINTS)
        width = float(np.mean(self.width(rpm)))
        factor = self.factor("mean", level)
        single = self.factor("point", level)
        if band[1] - band[0] < NARROW and factor is not None and single is not None:
            factor = max(factor, single)
        return between(float(np.mean(self.torque(rpm))), width, factor)

    def correlation(self, other: Prediction, rpm: Floats, scores: PairScores | None) -> Floats:
        """Return the correlation of the errors of two builds at engine speeds."""
        if self.ahead is not None and other.ahead is not None:
            if not self.ahead.shares_process(other.ahead):
                return np.zeros(len(rpm))
            return reader_of(self.speeds, rpm) @ self.ahead.correlation(
                self.row, other.ahead, other.row
            )
        if scores is None:
            return np.zeros(len(rpm))
        distance = float(np.linalg.norm(self.place - other.place))
        return np.full(len(rpm), scores.correlation(distance))

    def _groups(self, part: str) -> int:
        return min((one.groups for one in self.scores(part)), default=0)

    def peaks(self, rpm: Floats, level: float) -> Peaks:
        """Return the highest torque and power over the answered range of some engine speeds.

        They are ``None`` if none of these speeds is supported. Limits of the engine speed end where
        the range does.
        """
        low, high = self.answered(rpm)
        if not low <= high:
            return Peaks(None, None)
        fine = highest.fine_speeds(low, high)
        torque = self.torque(fine)
        power = torque * (fine / TORQUE_POWER_CONSTANT)
        tops = [highest.highest(fine, values) for values in (torque, power)]
        widths = self.width(np.array([top.rpm for top in tops])).tolist()
        found = []
        for name, top, width in zip(Peaks._fields, tops, widths, strict=True):
            part, speed = (
                calibration.peak_part(name, at_end=top.at_end, speed=of_speed)
                for of_speed in (False, True)
            )
            limits = between(top.rpm, self.widened, self.factor(speed, level))
            found.append(
                Peak(
                    height=between(top.height, width, self.factor(part, level)),
                    rpm=within(limits, fine),
                    at_end=top.at_end,
                    level=self.kept(part, level),
                    groups=self._groups(part),
                )
            )
        return Peaks(*found)


class Peaks(NamedTuple):
    """The peaks of torque and of power; ``None`` if no speed is supported."""

    torque: Peak | None
    power: Peak | None
