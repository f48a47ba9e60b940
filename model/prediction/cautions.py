"""What a build exceeds of what it should not: octane, speed of highest power, mean piston speed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.model.range.tested_speeds import DEFAULT_RPM, speeds_of
from pullbook.pipeline.checks.part_rules import usual_ratio
from pullbook.pipeline.physics.constants import INCH
from pullbook.pipeline.physics.engine_quantities import mean_piston_speed
from pullbook.schemas.on_request import Caution

if TYPE_CHECKING:
    from pullbook.model.learning.sample import Floats
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.pipeline.loads.ceilings import Ceilings
    from pullbook.pipeline.values.sheet import Build


def cautions(
    build: Build, found: Prediction, ceilings: Ceilings, rpm: Floats | None = None
) -> tuple[Caution, ...]:
    """Return what a build exceeds.

    Parameters
    ----------
    build, found
        The build and its prediction.
    ceilings
        What should not be exceeded.
    rpm
        Engine speeds of the answer, so that its highest power is at the same speed here; those of
        an answer that asks for none if not given.

    """
    speeds = speeds_of(*DEFAULT_RPM) if rpm is None else rpm
    return (*_of_fuel(build, ceilings.octane), *_of_speed(build, found, ceilings, speeds))


def _of_fuel(build: Build, octane: float | None) -> tuple[Caution, ...]:
    """Return an octane, and a compression ratio, that are too high for the octane there is."""
    if octane is None:
        return ()
    made = []
    given, ratio = build.number("octane"), build.number("compression_ratio")
    if given is not None and given > octane:
        made.append(Caution("octane", given, octane))
    natural = build.values.get("aspiration") in (None, "natural")
    gasoline = build.values.get("fuel") in (None, "gasoline")
    if ratio is not None and natural and gasoline and ratio > (most := usual_ratio(octane)):
        made.append(Caution("compression_ratio", ratio, most))
    return tuple(made)


def _of_speed(
    build: Build, found: Prediction, ceilings: Ceilings, rpm: Floats
) -> tuple[Caution, ...]:
    """Return the speed of highest power, and the piston speed there, where they are too high.

    Where power still climbs at the end of what was tested, that end is the least it can be.
    """
    peak = found.peaks(rpm, 0.9).power
    if peak is None:
        return ()
    made = []
    at, stroke = peak.rpm.value, build.number("stroke")
    if ceilings.peak_speed is not None and at > ceilings.peak_speed:
        made.append(Caution("peak_speed", at, ceilings.peak_speed, at))
    if stroke is not None:
        speed = float(mean_piston_speed(stroke * INCH, at))
        if speed > ceilings.piston_speed:
            made.append(Caution("piston_speed", speed, ceilings.piston_speed, at))
    return tuple(made)
