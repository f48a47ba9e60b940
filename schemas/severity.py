"""How much a finding matters: its severity, and what a code of findings carries."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple


class Severity(StrEnum):
    """What a finding means for its sheet: refused, accepted with a warning, or just a note."""

    REFUSE = "refuse"
    WARN = "warn"
    NOTE = "note"


class Code(NamedTuple):
    """Severity and meaning of a code.

    Attributes
    ----------
    severity
        What the finding means for the sheet.
    meaning
        What was found, in one sentence.
    sd
        The relative standard deviation that a warning adds to the sheet's torque; the sheet
        weighs less in training for it. Common practice, no source.
    """

    severity: Severity
    meaning: str
    sd: float = 0.0
