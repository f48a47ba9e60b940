"""Write the demo's sheets the way each shop writes them, some of them with faults."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import zipfile
from typing import TYPE_CHECKING

import numpy as np

from pullbook.pipeline.demo import dyno_pulls
from pullbook.pipeline.demo.engine_series import LAST_YEAR
from pullbook.pipeline.demo.shops import Circle
from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    from pathlib import Path

    from openpyxl import Workbook

    from pullbook.pipeline.demo.dyno_pulls import Made, Track
    from pullbook.pipeline.demo.shops import Shop

#: One in this many shops joined the circle with the newest batch.
_JOINED = 15
_BEGINNING = dt.datetime(2020, 1, 1)
_INCH_FIELDS = ("bore", "stroke", "rod_length")
_FAULTS = (
    "bare millimetres",
    "no stroke",
    "newton metres",
    "wrong power",
    "word",
    "short",
    "no weather",
    "unit",
)
NOTICE = "invented for a demonstration; no such shop or engine exists"


def make(
    folder: Path,
    circle: Circle = Circle(),  # noqa: B008 - it cannot change
    newer: Path | None = None,
    track: Track | None = None,
) -> list[Made]:
    """Write the sheets of an invented circle below a folder, one folder per shop.

    Parameters
    ----------
    folder
        Folder to write to; it is made if it does not exist.
    circle
        How many shops and sheets, and the seed; by default those of the demo.
    newer
        Folder for the newest batch: sheets of the last year, and all sheets of the shops that
        joined last. ``None`` makes one batch only.
    track
        Wraps the loop over blocks of engine runs to show progress.

    Returns
    -------
    The sheets with their hidden values, for tests of the pipeline.

    """
    made = dyno_pulls.run(circle, track)
    rng = np.random.default_rng([circle.seed, 1])
    few = 2 if circle.shops > 1 else 0
    spoiled = rng.choice(len(made), size=max(few, len(made) // 60), replace=False)
    for i, victim in enumerate(spoiled):
        made[victim].extra["fault"] = _FAULTS[i % len(_FAULTS)]
    circle_shops = list({m.shop.name: m.shop for m in made}.values())
    joined = circle_shops[-max(1, len(circle_shops) // _JOINED) :]
    for shop in circle_shops:
        own = [m for m in made if m.shop is shop]
        late = [m for m in own if shop in joined or m.day.year == LAST_YEAR]
        names = {m.sheet_id for m in late} if newer is not None else set()
        for place, batch in (
            (newer or folder, [m for m in own if m.sheet_id in names]),
            (folder, [m for m in own if m.sheet_id not in names]),
        ):
            if batch:
                _write_shop(place, shop, batch)
    return made


def _write_shop(folder: Path, shop: Shop, made: list[Made]) -> None:
    home = folder / shop.name.lower().replace(" ", "-")
    home.mkdir(parents=True, exist_ok=True)
    if shop.carrier == "files":
        for m in made:
            (home / f"{m.sheet_id}.csv").write_text(sheet_file(m), encoding="utf-8")
        return
    builds, pulls = _tables(made)
    if shop.carrier == "tables":
        (home / "builds.csv").write_text(_csv(builds), encoding="utf-8")
        (home / "pulls.csv").write_text(_csv(pulls), encoding="utf-8")
        return
    import openpyxl  # noqa: PLC0415 - only for shops that keep workbooks

    book = openpyxl.Workbook()
    for title, rows in (("builds", builds), ("pulls", pulls)):
        tab = book.create_sheet(title)
        for row in rows:
            tab.append(row)
    book.remove(book.worksheets[0])
    book.properties.created = book.properties.modified = _BEGINNING
    _save_same(book, home / "book.xlsx")


def _save_same(book: Workbook, path: Path) -> None:
    """Save a workbook without times, so that the same content gives the same bytes."""
    loose = io.BytesIO()
    book.save(loose)
    with zipfile.ZipFile(loose) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(
                zipfile.ZipInfo(name, _BEGINNING.timetuple()[:6]), _undated(old.read(name))
            )


def _undated(data: bytes) -> bytes:
    """Remove the time of saving from the workbook's properties."""
    return re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>2020-01-01T00:00:00Z", data)


def _csv(rows: list[list[str]]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


def fields_of(m: Made) -> dict[str, str]:
    """Return the fields of a sheet as its shop writes them."""
    v: dict[str, object] = {"sheet_id": m.sheet_id, "shop": m.shop.name, **m.build.values}
    v |= {"engine": m.engine or None, "correction": m.stated, "notes": NOTICE}
    v["tested_on"] = m.day.isoformat() if m.shop.metric else m.day.year
    if m.shop.chassis:
        v["dyno"] = "chassis"
    if m.weather is not None:
        v |= {
            "air_temperature": f"{m.weather.celsius:.1f} degC"
            if m.shop.metric
            else round(m.weather.celsius * 1.8 + 32),
            "barometer": f"{10 * m.weather.pressure:.1f} hPa"
            if m.shop.metric
            else round(m.weather.pressure / 3.386389, 2),
            "relative_humidity": round(m.weather.humidity),
        }
    for name in m.shop.never | m.lost:
        v.pop(name, None)
    if m.shop.metric:
        for name in _INCH_FIELDS:
            if name in v:
                v[name] = f"{float(str(v[name])) * 25.4:.2f} mm"
    _spoil(v, m.extra.get("fault"))
    written = {k: str(v[k]) for k in FIELDS if v.get(k) is not None}
    return written


def _spoil(v: dict[str, object], fault: str | None) -> None:
    if fault == "bare millimetres":
        v["bore"] = round(
            float(str(v["bore"]).split()[0]) * (1 if "mm" in str(v["bore"]) else 25.4), 1
        )
    elif fault == "no stroke":
        v.pop("stroke")
    elif fault == "word":
        v["compression_ratio"] = "about ten"
    elif fault == "no weather":
        v["correction"] = "observed"
        v.pop("barometer", None)
        v.pop("air_temperature", None)
    elif fault == "unit":
        v["bore"] = "4.03 zolls"


def pull_of(m: Made) -> tuple[list[str], list[list[str]]]:
    """Return headings and rows of a pull as its shop writes them."""
    fault, metric, digits = m.extra.get("fault"), m.shop.metric, m.shop.digits
    torque = m.torque * (1.3558179483314004 if metric else 1.0)
    power = m.torque * m.rpm / TORQUE_POWER_CONSTANT * (0.745699872 if metric else 1.0)
    if fault == "newton metres":
        torque = m.torque * 1.3558179483314004 * 1.3558179483314004
    if fault == "wrong power":
        power = power * 0.735
    headings = ["rpm", "torque (N.m)", "power (kW)"] if metric else ["rpm", "torque", "power"]
    rows = [
        [f"{r:.0f}", f"{t:.{digits}f}", f"{p:.{digits}f}"]
        for r, t, p in zip(m.rpm, torque, power, strict=True)
    ]
    if fault == "newton metres":
        headings, rows = ["rpm", "torque"], [row[:2] for row in rows]
    return headings, rows[:4] if fault == "short" else rows


def sheet_file(m: Made) -> str:
    """Return the text of a sheet file."""
    lines = [f"{name}: {value}" for name, value in fields_of(m).items()]
    headings, rows = pull_of(m)
    return "\n".join(["---", *lines, "---", ",".join(headings), *(",".join(r) for r in rows), ""])


def _tables(made: list[Made]) -> tuple[list[list[str]], list[list[str]]]:
    fields = [fields_of(m) for m in made]
    names = [name for name in FIELDS if any(name in f for f in fields)]
    builds = [names, *([f.get(name, "") for name in names] for f in fields)]
    metric = made[0].shop.metric
    pulls = [
        ["sheet_id", "rpm", *(["torque (N.m)", "power (kW)"] if metric else ["torque", "power"])]
    ]
    for m in made:
        pulls += [[m.sheet_id, *[*row, ""][:3]] for row in pull_of(m)[1]]
    return builds, pulls
