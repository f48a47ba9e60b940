"""The answer to a question about a build, as plain data."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any, NamedTuple

_DIGITS = 2


def rounded(value: float | None, digits: int = _DIGITS) -> float | None:
    """Return a number as JSON tells it."""
    return None if value is None else round(float(value), digits)


class Between(NamedTuple):
    """A value with its limits; ``None`` where limits cannot be given."""

    value: float
    low: float | None
    high: float | None

    def times(self, factor: float) -> Between:
        """Return value and limits multiplied."""
        low = None if self.low is None else self.low * factor
        high = None if self.high is None else self.high * factor
        return Between(self.value * factor, low, high)

    def named(self, name: str) -> dict[str, float | None]:
        """Return the value under a name, with ``_low`` and ``_high``."""
        return {
            name: rounded(self.value),
            f"{name}_low": rounded(self.low),
            f"{name}_high": rounded(self.high),
        }


class Point(NamedTuple):
    """One engine speed of a curve: lb-ft and hp."""

    rpm: float
    torque: Between
    band: Between
    power: Between
    supported: bool

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

    ``at_end`` says that it lies at an end of the speeds looked at: the curve may go higher.
    """

    height: Between
    rpm: Between
    at_end: bool

    def as_json(self, name: str) -> dict[str, Any]:
        """Return the peak as ``predict --json`` prints it."""
        return {
            name: rounded(self.height.value),
            "low": rounded(self.height.low),
            "high": rounded(self.height.high),
            **self.rpm.named("rpm"),
            "at_end": self.at_end,
        }


@dataclass(frozen=True, slots=True)
class Missing:
    """A field that was not given.

    ``narrows`` is the share by which knowing it would narrow the limits, about; ``None`` where
    it was not looked into.
    """

    field: str
    narrows: float | None

    def as_json(self) -> dict[str, Any]:
        """Return the missing field as ``predict --json`` prints it."""
        return {"field": self.field, "narrows": rounded(self.narrows, 3)}


@dataclass(frozen=True, slots=True)
class Answer:
    """What a build will likely make.

    Attributes
    ----------
    sheet_id
        Its name.
    standing, reasons
        Where it stands to what was tested, and why.
    level
        Of the limits.
    calibrated
        Whether the shops suffice for limits at the level.
    known_shop
        Whether the limits are those of a shop that the model knows.
    widened
        What the limits were multiplied by, because the build stands outside.
    curve
        Its points.
    peak_torque, peak_power
        The highest points among the supported ones; ``None`` where no point is.
    nearest
        Names and distances of the nearest sheets.
    missing
        Fields that were not given, those that would narrow the limits most first.
    bundle
        What answered.
    """

    sheet_id: str
    standing: Standing
    reasons: list[Reason]
    level: float
    calibrated: bool
    known_shop: bool
    widened: float
    curve: list[Point]
    peak_torque: Peak | None
    peak_power: Peak | None
    nearest: list[tuple[str, float]]
    missing: list[Missing]
    bundle: dict[str, Any]

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
            "level": self.level,
            "calibrated": self.calibrated,
            "known_shop": self.known_shop,
            "widened": rounded(self.widened, 3),
            "curve": [point.as_json() for point in self.curve],
            "peak_torque": None if self.peak_torque is None else self.peak_torque.as_json("torque"),
            "peak_power": None if self.peak_power is None else self.peak_power.as_json("power"),
            "nearest": [
                {"sheet_id": name, "distance": rounded(distance, 4)}
                for name, distance in self.nearest
            ],
            "missing": [missing.as_json() for missing in self.missing],
            "bundle": self.bundle,
        }


class Standing(StrEnum):
    """Where a build stands."""

    INSIDE = "inside"
    EDGE = "edge"
    OUTSIDE = "outside"


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a build does not stand inside; ``severity`` above 1 means outside."""

    field: str
    value: float | str
    low: float | None
    high: float | None
    message: str
    severity: float
