"""The prediction for one build, as plain data."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from pullbook.schemas.on_request import BandMean, Caution, Clearance
    from pullbook.schemas.standing import Reason, Standing

_DIGITS = 2
#: The condition of every torque and power in an answer.
CONDITION = "SAE J1349"


def rounded(value: float | None, digits: int = _DIGITS) -> float | None:
    """Return a number rounded for JSON; ``None`` stays ``None``."""
    return None if value is None else round(float(value), digits)


class Between(NamedTuple):
    """A value with its limits, which are ``None`` when they cannot be given."""

    value: float
    low: float | None
    high: float | None

    def times(self, factor: float) -> Between:
        """Return the value and its limits multiplied by a factor."""
        low = None if self.low is None else self.low * factor
        high = None if self.high is None else self.high * factor
        return Between(self.value * factor, low, high)

    def named(self, name: str) -> dict[str, float | None]:
        """Return a dict with the keys ``name``, ``name_low`` and ``name_high``."""
        return {
            name: rounded(self.value),
            f"{name}_low": rounded(self.low),
            f"{name}_high": rounded(self.high),
        }


class Point(NamedTuple):
    """One point of a curve: engine speed in rev/min, torque in lb-ft, power in hp."""

    rpm: float
    torque: Between
    band: Between
    power: Between
    supported: bool

    def times(self, factor: float) -> Point:
        """Return the point with torque and power multiplied by a factor."""
        torque, band, power = (one.times(factor) for one in (self.torque, self.band, self.power))
        return Point(self.rpm, torque, band, power, self.supported)

    def as_json(self) -> dict[str, Any]:
        """Return the point as ``predict --json`` prints it."""
        return {
            "rpm": rounded(self.rpm),
            **self.torque.named("torque"),
            "band_low": rounded(self.band.low),
            "band_high": rounded(self.band.high),
            **self.power.named("power"),
            "supported": self.supported,
        }


@dataclass(frozen=True, slots=True)
class Peak:
    """The highest point of a curve: its height and its engine speed, each with limits.

    ``at_end`` is true when the point is at either end of the predicted speeds, so that the curve
    may go higher outside them. ``level`` is the level that its limits keep, ``None`` without
    limits, and ``groups`` the number of shops or engines behind them.
    """

    height: Between
    rpm: Between
    at_end: bool
    level: float | None = None
    groups: int = 0

    def times(self, factor: float) -> Peak:
        """Return the peak with its height multiplied by a factor."""
        return replace(self, height=self.height.times(factor))

    def as_json(self, name: str) -> dict[str, Any]:
        """Return the peak as ``predict --json`` prints it."""
        return {
            name: rounded(self.height.value),
            "low": rounded(self.height.low),
            "high": rounded(self.height.high),
            **self.rpm.named("rpm"),
            "at_end": self.at_end,
            "level": rounded(self.level, 4),
            "groups": self.groups,
        }


@dataclass(frozen=True, slots=True)
class Missing:
    """A field that the build does not give.

    ``narrows`` is about how much narrower the limits would be with it, as a share; ``None`` when
    that was not worked out.
    """

    field: str
    narrows: float | None

    def as_json(self) -> dict[str, Any]:
        """Return the missing field as ``predict --json`` prints it."""
        return {"field": self.field, "narrows": rounded(self.narrows, 3)}


@dataclass(frozen=True, slots=True)
class FromMeasured:
    """What an answer that starts from measured pulls says of them.

    Attributes
    ----------
    sheet_id
        Name of the sheet it starts from.
    changed
        Fields that both give and that differ.
    taken_over
        Fields of parts that were not changed, which the build leaves out and the sheet gives.
    others
        Names of the other sheets of the engine that count.
    tested_on
        When it was measured, if the sheet says so.
    correction
        The standard its torque was stated in.
    sweep
        Lowest and highest engine speed that the pulls reached, rev/min.
    off
        Mean deviation of the pull from what is likely for its build, on the logarithmic scale.
    unlikely
        What is said of a pull that is unlikely for its build; else ``None``.
    """

    sheet_id: str
    changed: tuple[str, ...]
    taken_over: tuple[str, ...] = ()
    others: tuple[str, ...] = ()
    tested_on: str | None = None
    correction: str | None = None
    sweep: tuple[float, float] = (0.0, 0.0)
    off: float = 0.0
    unlikely: str | None = None

    def as_json(self) -> dict[str, Any]:
        """Return it as ``predict --json`` prints it."""
        return {
            "sheet_id": self.sheet_id,
            "changed": list(self.changed),
            "taken_over": list(self.taken_over),
            "others": list(self.others),
            "tested_on": self.tested_on,
            "stated_correction": self.correction,
            "rpm": list(self.sweep),
            "unlikely": self.unlikely,
        }


@dataclass(frozen=True, slots=True)
class Answer:
    """The predicted torque and power of one build.

    Attributes
    ----------
    sheet_id
        Name of the build.
    standing, reasons
        Whether the build is inside, at the edge of or outside the data, and why.
    level
        Confidence level of the limits, between 0 and 1: the one asked, or a lower one that so few
        groups can keep.
    asked_level
        The level that was asked.
    calibrated
        Whether there are enough groups for limits.
    groups
        Number of those that were left out to make the limits.
    held_out
        What was left out: each ``shop``, ``engine`` or ``family``.
    regime
        What the limits are for: ``new shop``, ``known shop``, ``own dyno`` or ``measured engine``.
    family
        Whether the engine family is ``known`` to the data, ``new`` or ``not given``.
    measured
        The measured sheet that the answer starts from; ``None`` if there is none.
    without
        The curve without that sheet; ``None`` if there is none.
    widened
        The factor by which the limits were widened because the build is outside the data.
    curve
        The points of the curve.
    peak_torque, peak_power
        The highest supported points; ``None`` if no point is supported.
    nearest
        Names and distances of the nearest sheets.
    missing
        Fields the build does not give, first the ones that would narrow the limits most.
    bundle
        The bundle that made the prediction.
    over_band
        Mean torque and power over a band, where one was asked for.
    correction
        The standard that its torque and power are at.
    loads
        How far torque clears each load that was asked about.
    cautions
        What the build exceeds of what it should not.
    """

    sheet_id: str
    standing: Standing
    reasons: list[Reason]
    level: float
    asked_level: float
    calibrated: bool
    groups: int
    held_out: str
    regime: str
    family: str
    measured: FromMeasured | None
    without: list[Point] | None
    widened: float
    curve: list[Point]
    peak_torque: Peak | None
    peak_power: Peak | None
    nearest: list[tuple[str, float]]
    missing: list[Missing]
    bundle: dict[str, Any]
    over_band: BandMean | None = None
    correction: str = CONDITION
    loads: tuple[Clearance, ...] = ()
    cautions: tuple[Caution, ...] = ()

    def times(self, factor: float) -> Answer:
        """Return the answer with all torque and power multiplied by a factor."""
        torque, power = (p and p.times(factor) for p in (self.peak_torque, self.peak_power))
        return replace(
            self,
            without=None if self.without is None else [one.times(factor) for one in self.without],
            curve=[point.times(factor) for point in self.curve],
            peak_torque=torque,
            peak_power=power,
            over_band=None if self.over_band is None else self.over_band.times(factor),
            loads=tuple(one.times(factor) for one in self.loads),
        )

    def as_json(self) -> dict[str, Any]:
        """Return the answer as ``predict --json`` prints it."""
        return {
            "sheet_id": self.sheet_id,
            "standing": self.standing.value,
            "reasons": [
                {
                    "field": reason.field,
                    "value": reason.value,
                    "low": reason.low,
                    "high": reason.high,
                    "message": reason.message,
                }
                for reason in self.reasons
            ],
            "level": rounded(self.level, 4),
            "calibrated": self.calibrated,
            "groups": self.groups,
            "held_out": self.held_out,
            "correction": self.correction,
            "regime": self.regime,
            "family": self.family,
            "measured": None if self.measured is None else self.measured.as_json(),
            "widened": rounded(self.widened, 3),
            "curve": [point.as_json() for point in self.curve],
            "peak_torque": None if self.peak_torque is None else self.peak_torque.as_json("torque"),
            "peak_power": None if self.peak_power is None else self.peak_power.as_json("power"),
            "over_band": None if self.over_band is None else self.over_band.as_json(),
            "loads": [one.as_json() for one in self.loads],
            "cautions": [one.as_json() for one in self.cautions],
            "nearest": [
                {"sheet_id": name, "distance": rounded(distance, 4)}
                for name, distance in self.nearest
            ],
            "missing": [missing.as_json() for missing in self.missing],
            "without_measured": None if self.without is None else [
                {"rpm": rounded(point.rpm), **point.torque.named("torque")}
                for point in self.without
            ],
            "bundle": self.bundle,
        }  # fmt: skip
