"""A pull that was measured, against what was predicted: inside or not, and where not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from pullbook.pipeline.checks import check_sheet, checked_sheets
from pullbook.pipeline.curation.checked_tables import Columns
from pullbook.schemas.answer import rounded
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    from pullbook.model.answers.prediction import Prediction
    from pullbook.model.learning.sample import Floats
    from pullbook.pipeline.values.sheet import Sheet

#: Parts of the sweep that are looked at, bottom first.
THIRDS = ("bottom", "middle", "top")
WHOLE = "whole curve"
_OFF = ("low", "high")


class MeasureError(InputError):
    """A sheet that cannot be held against a prediction; the message says why."""


class Pull(NamedTuple):
    """A sheet and its readings at the reference condition, rev/min and lb-ft."""

    sheet: Sheet
    rpm: Floats
    torque: Floats


def pull(path: Path) -> Pull:
    """Return the one sheet of a file with its readings at the reference condition.

    Raises
    ------
    MeasureError
        The file holds several sheets, or one that the checks refuse.
    NothingToReadError
        There is no such file.

    """
    sheets = checked_sheets.read([path], check_sheet.SHEET_RULES).sheets
    if len(sheets) != 1:
        msg = f"{path} holds {len(sheets)} sheets; name a file with one"
        raise MeasureError(msg)
    (sheet,) = sheets
    if sheet.fault is not None:
        raise MeasureError(sheet.fault.message, file=path)
    columns = Columns()
    columns.add(sheet, str(path))
    return Pull(sheet, np.array(columns.rpm), np.array(columns.torque))


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the sweep: how far off on the mean, %, the limits of that, and inside or not."""

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
    """A measured pull against its prediction.

    Attributes
    ----------
    rpm, torque
        What was measured, at the reference condition, lb-ft, where such builds were swept.
    beyond
        How many readings lie where no such build was swept; they are left out.
    predicted, low, high
        What was predicted there, and the limits of the whole curve; the last two ``None`` without
        calibration.
    level
        Of the limits.
    inside
        Whether the whole curve lies inside; ``None`` without calibration.
    whole
        The pull as a whole.
    parts
        The thirds of the sweep.
    found
        The prediction.
    """

    rpm: Floats
    torque: Floats
    beyond: int
    predicted: Floats
    low: Floats | None
    high: Floats | None
    level: float
    inside: bool | None
    whole: Part
    parts: tuple[Part, ...]
    found: Prediction

    @property
    def where(self) -> tuple[str, str] | None:
        """Which part is off, and which way; ``None`` where nothing is.

        The whole curve, where it is off on the mean or all thirds are off the same way. Nothing is
        named of a pull that lies inside: of four parts one is off by chance too often.
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

    def as_json(self) -> dict[str, Any]:
        """Return what ``against --json`` prints."""
        nothing = [None] * len(self.rpm)
        low, high = (nothing if v is None else v.tolist() for v in (self.low, self.high))
        columns = (self.rpm.tolist(), self.torque.tolist(), self.predicted.tolist(), low, high)
        return {
            "level": self.level,
            "inside": self.inside,
            "readings_beyond": self.beyond,
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
                }
                for rpm, torque, guess, one, other in zip(*columns, strict=True)
            ],
        }  # fmt: skip


def against(found: Prediction, rpm: Floats, torque: Floats, level: float) -> Measured:
    """Hold a measured pull against a prediction.

    Parameters
    ----------
    found
        The prediction.
    rpm, torque
        What was measured, at the reference condition, rev/min and lb-ft, shape (readings,).
    level
        Of the limits.

    Raises
    ------
    MeasureError
        None of the readings lies where such builds were swept.

    """
    order = np.argsort(rpm, kind="stable")
    order = order[found.supported(rpm[order])]
    beyond = len(rpm) - len(order)
    if not len(order):
        msg = "no build like this one was swept over the speeds of this pull"
        raise MeasureError(msg)
    rpm, torque = rpm[order], torque[order]
    predicted, width = found.torque(rpm), found.width(rpm)
    off = np.log(torque / predicted)
    whole, single = found.threshold("band", level), found.threshold("mean", level)
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
    )
