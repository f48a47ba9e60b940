"""What a code of findings carries; and the codes of parts that do not fit each other."""

from __future__ import annotations

from enum import StrEnum
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Mapping


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


def _fit(name: str, impossible: str, unusual: str) -> dict[str, Code]:
    return {
        name: Code(Severity.REFUSE, impossible),
        f"{name}-unusual": Code(Severity.WARN, unusual, 0.01),
    }


#: Each pair of parts has a code for what is impossible and one for what is unusual.
FITS: Mapping[str, Code] = MappingProxyType(
    {
        **_fit(
            "displacement-disagrees",
            "Bore, stroke and displacement contradict each other",
            "Displacement is a little off what bore and stroke make",
        ),
        **_fit(
            "cylinder-size",
            "The displacement does not fit the number of cylinders",
            "The displacement of a cylinder is unusual",
        ),
        **_fit(
            "bore-stroke",
            "Bore and stroke do not fit one engine",
            "Bore over stroke is unusual",
        ),
        **_fit(
            "rod-stroke",
            "Rod length and stroke do not fit one engine",
            "Rod length over stroke is unusual",
        ),
        **_fit(
            "valve-bore",
            "The intake valve does not fit the bore",
            "The intake valve is unusual for the bore",
        ),
        **_fit(
            "valves-bore",
            "The two valves together do not fit the bore",
            "The two valves together are unusual for the bore",
        ),
        **_fit(
            "exhaust-intake-valve",
            "Exhaust and intake valve do not fit one head",
            "Exhaust over intake valve is unusual",
        ),
        **_fit(
            "lift-valve",
            "The lift does not fit the valve",
            "The lift is unusual for the valve",
        ),
        **_fit(
            "exhaust-intake-lift",
            "Exhaust and intake lift do not fit one cam",
            "Exhaust over intake lift is unusual",
        ),
        **_fit(
            "seat-duration",
            "Advertised duration and duration at 0.050 in do not fit one lobe",
            "The advertised duration is unusual for the duration at 0.050 in",
        ),
        **_fit(
            "exhaust-intake-duration",
            "Exhaust and intake duration do not fit one cam",
            "The exhaust duration is unusual for the intake duration",
        ),
        **_fit(
            "centerline-separation",
            "Intake centerline and lobe separation do not fit one cam",
            "The cam is ground unusually far from straight up",
        ),
        **_fit(
            "port-valve",
            "The port does not fit the valve",
            "The port is unusual for the valve",
        ),
        **_fit(
            "port-length",
            "Port volume and cross-section do not fit one port",
            "The port volume is unusual for the cross-section",
        ),
        **_fit(
            "flow-valve",
            "The flow is more or less than such a valve can pass",
            "The flow is unusual for the valve",
        ),
        **_fit(
            "exhaust-intake-flow",
            "Exhaust and intake flow do not fit one head",
            "Exhaust over intake flow is unusual",
        ),
        **_fit(
            "primary-valve",
            "The header primary does not fit the valve",
            "The header primary is unusual for the valve",
        ),
        **_fit(
            "piston-speed",
            "The piston speed is beyond what engines run",
            "The piston speed is unusually high",
        ),
    }
)
