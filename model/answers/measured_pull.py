"""A measured pull compared with the prediction: inside the limits or not, and where not."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from pullbook.model.trained.find_sheet import find_sheet
from pullbook.model.trained.pulls import MeasureError
from pullbook.pipeline.builds.build_table import typed_builds
from pullbook.schemas.answer import rounded

if TYPE_CHECKING:
    from pullbook.model.learning.sample import Floats
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.model.trained.pulls import Pull
    from pullbook.model.trained.trained_model import Model
    from pullbook.pipeline.values.sheet import Build

#: A sheet within this distance of a build is of the same build.
_SAME = 1e-6
#: Parts of the sweep, lowest speeds first.
THIRDS = ("bottom", "middle", "top")
WHOLE = "whole curve"
_OFF = ("low", "high")


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the sweep: its mean deviation from the prediction and the limit of that, %."""

    name: str
    low_rpm: float
    high_rpm: float
    off: float
    limit: float | None

    @property
    def verdict(self) -> str | None:
        """``low``, ``high`` or ``inside``; ``None`` where there are no limits."""
        if self.limit is None:
            return None
        if abs(self.off) <= self.limit:
            return "inside"
        return "low" if self.off < 0 else "high"

    def as_json(self) -> dict[str, Any]:
        """Return the part as ``against --json`` prints it."""
        return {
            "part": self.name,
            "rpm": [rounded(self.low_rpm), rounded(self.high_rpm)],
            "off_percent": rounded(self.off, 2),
            "limit_percent": rounded(self.limit, 2),
            "verdict": self.verdict,
        }


@dataclass(frozen=True, slots=True)
class Measured:
    """A measured pull compared with its prediction.

    Attributes
    ----------
    rpm, torque
        Measured torque, at the reference condition, lb-ft, where such builds were tested.
    beyond
        Engine speeds of readings that are left out: no such build was tested there.
    predicted, low, high
        Predicted torque at the same speeds, and the limits of the whole curve, lb-ft; the limits
        are ``None`` without calibration.
    level
        Confidence level of the limits, between 0 and 1.
    inside
        Whether the whole curve is inside the limits; ``None`` without calibration.
    whole
        The pull as a whole.
    parts
        The thirds of the sweep.
    found
        The prediction.
    on_sheet
        The measured torque as the sheet states it, by its own correction, lb-ft.
    """

    rpm: Floats
    torque: Floats
    beyond: list[float]
    predicted: Floats
    low: Floats | None
    high: Floats | None
    level: float
    inside: bool | None
    whole: Part
    parts: tuple[Part, ...]
    found: Prediction
    on_sheet: Floats

    @property
    def where(self) -> tuple[str, str] | None:
        """Which part is off, and in which direction; ``None`` if none is.

        It is the whole curve if its mean is off and so are several thirds or none. For a pull that
        is inside no part is named: one of four parts is off by chance too often.
        """
        if self.inside is not False:
            return None
        verdicts = [part.verdict for part in self.parts]
        whole = self.whole.verdict
        if whole in _OFF and verdicts.count(whole) != 1:
            return WHOLE, whole
        off = [part for part in self.parts if part.verdict in _OFF]
        if off:
            worst = max(off, key=lambda part: abs(part.off) / (part.limit or 1.0))
            return worst.name, str(worst.verdict)
        return None

    def times(self, factor: float) -> Measured:
        """Return the same with torque, but that on the sheet, multiplied by a factor."""
        return replace(
            self,
            torque=self.torque * factor,
            predicted=self.predicted * factor,
            low=None if self.low is None else self.low * factor,
            high=None if self.high is None else self.high * factor,
        )

    def as_json(self) -> dict[str, Any]:
        """Return what ``against --json`` prints."""
        nothing = [None] * len(self.rpm)
        low, high = (nothing if v is None else v.tolist() for v in (self.low, self.high))
        found = (self.rpm, self.torque, self.predicted, self.on_sheet)
        columns = (*(one.tolist() for one in found), low, high)
        return {
            "level": self.level,
            "inside": self.inside,
            "readings_beyond": len(self.beyond),
            "where": None if self.where is None else dict(
                zip(("part", "verdict"), self.where, strict=True)),
            "whole": self.whole.as_json(),
            "parts": [part.as_json() for part in self.parts],
            "curve": [
                {
                    "rpm": rounded(rpm),
                    "measured": rounded(torque),
                    "predicted": rounded(guess),
                    "band_low": rounded(one),
                    "band_high": rounded(other),
                    "on_sheet": rounded(stated),
                }
                for rpm, torque, guess, stated, one, other in zip(*columns, strict=True)
            ],
        }  # fmt: skip


def build_of(pull: Pull) -> Build:
    """Return the build of a pull, to be judged by what other engines make, not by itself."""
    return replace(pull.sheet, values={**pull.sheet.given, "engine": None}, derived=frozenset())


def against(
    found: Prediction, rpm: Floats, torque: Floats, level: float, to_reference: float = 1.0
) -> Measured:
    """Compare a measured pull with a prediction.

    Parameters
    ----------
    found
        The prediction.
    rpm, torque
        Measured speeds and torque at the reference condition, rev/min and lb-ft, shape
        (readings,).
    level
        Confidence level of the limits, between 0 and 1.
    to_reference
        The factor that brought the torque on the sheet to the reference condition.

    Raises
    ------
    MeasureError
        No such build was tested at any speed of the pull.

    """
    order = np.argsort(rpm, kind="stable")
    tested = found.supported(rpm[order])
    beyond, order = rpm[order][~tested].tolist(), order[tested]
    if not len(order):
        msg = (
            f"no build like this one was tested at the speeds of this pull, {rpm.min():.0f} to"
            f" {rpm.max():.0f} rpm, so there is nothing to compare it with"
        )
        raise MeasureError(msg)
    rpm, torque = rpm[order], torque[order]
    predicted, width = found.torque(rpm), found.width(rpm)
    off = np.log(torque / predicted)
    whole, single = found.factor("band", level), found.factor("mean", level)
    ratio = None if whole is None else np.exp(whole * width)

    def part(name: str, rows: Floats) -> Part:
        limit = None if single is None else 100 * float(np.sinh(single * width[rows].mean()))
        return Part(name, float(rpm[rows][0]), float(rpm[rows][-1]),
                    100 * float(np.expm1(off[rows].mean())), limit)  # fmt: skip

    edges = np.linspace(rpm[0], rpm[-1], len(THIRDS) + 1)
    third = np.clip(np.searchsorted(edges, rpm, side="right") - 1, 0, len(THIRDS) - 1)
    return Measured(
        rpm=rpm,
        torque=torque,
        beyond=beyond,
        predicted=predicted,
        low=None if ratio is None else predicted / ratio,
        high=None if ratio is None else predicted * ratio,
        level=level,
        inside=None if whole is None else bool((np.abs(off) <= whole * width).all()),
        whole=part(WHOLE, np.ones(len(rpm), dtype=bool)),
        parts=tuple(
            part(name, third == at) for at, name in enumerate(THIRDS) if (third == at).any()
        ),
        found=found,
        on_sheet=torque / to_reference,
    )


def learned_from(model: Model, pull: Pull, found: Prediction) -> bool:
    """Return whether this sheet, or one of the same build, is in the training data."""
    build = typed_builds([pull.sheet]).iloc[0]
    known = find_sheet(model, build, pull.rpm, pull.torque) is not None
    return known or float(found.distances[0]) < _SAME
