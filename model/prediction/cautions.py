"""What a build exceeds of what it should not: octane, speed of highest power, mean piston speed."""

from __future__ import annotations

from typing import TYPE_CHECKING

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
    build: Build, found: Prediction, ceilings: Ceilings, rpm: Floats
) -> tuple[Caution, ...]:
    """Return what a build exceeds.

    Parameters
    ----------
    build, found
        The build and its prediction.
    ceilings
        What should not be exceeded.
    rpm
        The engine speeds that are answered, over which power is highest.

    """
    return (*_of_fuel(build, ceilings.octane), *_of_speed(build, found, ceilings, rpm))


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
    top, stroke = peak.rpm.value, build.number("stroke")
    if ceilings.peak_speed is not None and top > ceilings.peak_speed:
        made.append(Caution("peak_speed", top, ceilings.peak_speed, top))
    if stroke is not None:
        speed = float(mean_piston_speed(stroke * INCH, top))
        if speed > ceilings.piston_speed:
            made.append(Caution("piston_speed", speed, ceilings.piston_speed, top))
    return tuple(made)
