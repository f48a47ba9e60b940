"""The prediction for one build, as plain data."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from pullbook.schemas.field_words import Described, Range

_DIGITS = 2


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
    may go higher outside them.
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
class Answer:
    """The predicted torque and power of one build.

    Attributes
    ----------
    sheet_id
        Name of the build.
    standing, reasons
        Whether the build is inside, at the edge of or outside the data, and why.
    level
        Confidence level of the limits, between 0 and 1.
    calibrated
        Whether there are enough shops for limits at that level.
    known_shop
        Whether the limits are for a shop that is in the training data.
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
    """Whether a build is inside, at the edge of or outside the data."""

    INSIDE = "inside"
    EDGE = "edge"
    OUTSIDE = "outside"


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a build is not inside the data.

    Attributes
    ----------
    field
        The field in the code's spelling, or ``combination``.
    value, low, high
        Its value and the tested range, in the field's own unit; ``None`` where there is no range.
    severity
        Above 1 the build is outside the data, otherwise at the edge.
    wording
        The message, with ``{}`` for each of the quantities.
    quantities
        What the message names, in order.
    """

    field: str
    value: float | str
    low: float | None
    high: float | None
    severity: float
    wording: str
    quantities: tuple[Described | Range, ...] = ()

    @property
    def outside(self) -> bool:
        """Whether this reason alone puts the build outside the data."""
        return self.severity > 1

    @property
    def message(self) -> str:
        """The reason in words, in inch units."""
        return self.worded(metric=False)

    def worded(self, *, metric: bool) -> str:
        """Return the reason in words, in inch or in metric units."""
        return self.wording.format(*(one.worded(metric=metric) for one in self.quantities))
