"""Many contributed sheets for the benchmarks, varied from a few invented ones."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pullbook.pipeline.demo import sheets
from pullbook.pipeline.demo.shops import Circle
from pullbook.pipeline.privacy import contribute, contributed_sheet, refused_sheets
from pullbook.pipeline.reading import find_sheets
from pullbook.pipeline.reading.parse_sheet import typed

if TYPE_CHECKING:
    from pathlib import Path

_BASE, _SHOPS = 600, 40


def make(folder: Path, counts: list[int]) -> list[Path]:
    """Write contributions of so many sheets each below a folder and return them.

    Every sheet is one of the demo's with its torque tilted and scattered, so none is a copy.
    """
    sheets.make(folder / "base", Circle(_SHOPS, _BASE))
    contribute.contribute([folder / "base"], folder / "few", b"a key for the benchmarks")
    base = [typed(raw) for raw in find_sheets.sheets([folder / "few" / refused_sheets.ACCEPTED])]
    rng = np.random.default_rng(1)
    made = []
    for count in counts:
        place = folder / f"many-{count}" / refused_sheets.ACCEPTED
        place.mkdir(parents=True)
        for number in range(count):
            sheet = base[number % len(base)]
            tilt = rng.normal(0, 0.04, 2)
            rpm = np.array([r.rpm for r in sheet.readings])
            across = (rpm - rpm.mean()) / np.ptp(rpm)
            factor = np.exp(tilt[0] + tilt[1] * across + rng.normal(0, 0.003, len(rpm)))
            readings = [
                r._replace(torque=r.torque * f if r.torque else None, power=None)
                for r, f in zip(sheet.readings, factor, strict=True)
            ]
            values = {**sheet.values, "sheet_id": f"sheet-{number:06d}"}
            (place / f"{number:06d}.csv").write_text(contributed_sheet.sheet_text(values, readings))
        made.append(place.parent)
    return made
