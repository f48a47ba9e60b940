"""Invented builds with known curves, and the many ways to write one down; all of it is made up.

The truth is in the units of the field dictionary. Writers round as people do, so that what comes
back is compared within the rounding.
"""

from __future__ import annotations

import io
import random
from dataclasses import dataclass, field
from pathlib import Path

import openpyxl
import xlwt

LBFT, KW, PS, KGFM = 1.3558179483314004, 0.745699871582, 1.01386966542, 0.138254954376
HP = 5252.113122032546


@dataclass
class Truth:
    """One build and its curve: values by field, and readings of rpm and torque in lb-ft."""

    values: dict[str, object]
    curve: list[tuple[float, float]]
    name: str | None = None
    #: Torque beside the curve that must not be taken for it.
    decoy: float | None = None


@dataclass
class Case:
    """Files as a shop might keep them, and what a person reads in them.

    Attributes
    ----------
    kind
        What is special about them, in words.
    files
        Content by name of file.
    truth
        What a person reads; empty where nobody can tell, so that the files must be refused or
        warned of.
    settings
        What the settings file says, if it is needed; without it the files must be refused.
    may_refuse
        Whether a refusal is as right as a reading.
    """

    kind: str
    files: dict[str, bytes]
    truth: list[Truth] = field(default_factory=list)
    settings: str = ""
    may_refuse: bool = False

    def write(self, folder: Path, *, settings: bool = False) -> Path:
        """Write the files into a folder, and return it."""
        folder.mkdir(parents=True)
        for name, data in self.files.items():
            (folder / name).write_bytes(data)
        if settings:
            (folder / "pullbook.yaml").write_text(self.settings, encoding="utf-8")
        return folder


def engine(rng: random.Random, **given: object) -> Truth:
    """Return an invented engine with a curve that rises, peaks and falls."""
    eight = rng.random() < 0.6
    bore = round(rng.uniform(3.5, 4.3), 3)
    stroke = round(rng.uniform(3.1, 4.0), 3)
    cylinders = 8 if eight else 6
    size = 0.25 * 3.141592653589793 * bore**2 * stroke * cylinders
    duration = rng.randrange(204, 246, 2)
    values: dict[str, object] = {
        "cylinders": cylinders, "arrangement": "vee" if eight else "inline",
        "bore": bore, "stroke": stroke, "compression_ratio": round(rng.uniform(8.5, 11.0), 1),
        "intake_duration": duration, "exhaust_duration": duration + rng.choice([4, 6, 8]),
        "lobe_separation": rng.choice([106, 108, 110, 112]),
        "intake_type": rng.choice(["dual plane", "single plane"]),
        "correction": "SAE J607",
    }  # fmt: skip
    peak, best = rng.uniform(3000, 4200), size * rng.uniform(1.05, 1.25)
    start, step = rng.choice([(2000, 250), (2200, 200), (2500, 250)])
    curve = [
        (float(rpm), round(best * (1 - 0.35 * ((rpm - peak) / peak) ** 2), 1))
        for rpm in range(start, start + 13 * step, step)
    ]
    return Truth({**values, **given}, curve)


def observed(truth: Truth) -> Truth:
    """Return the truth as observed, with the weather."""
    weather = {"air_temperature": 75.2, "barometer": 29.5, "relative_humidity": 45}
    return Truth({**truth.values, "correction": "observed", **weather}, truth.curve)


def power(torque: float, rpm: float) -> float:
    """Return the power, hp, of a torque in lb-ft."""
    return torque * rpm / HP


def metric(values: dict[str, object]) -> dict[str, str]:
    """Return the size of an engine as a metric sheet has it, rounded to hundredths of a mm."""
    return {n: f"{25.4 * float(str(values[n])):.2f} mm" for n in ("bore", "stroke")}


def lines(fields: dict[str, object]) -> list[str]:
    """Return fields as lines between fences."""
    return ["---", *(f"{name}: {value}" for name, value in fields.items()), "---"]


def table(
    truth: Truth, heads=("rpm", "torque", "power"), kinds=("r", "t", "p"), mark=","
) -> list[str]:
    """Return the pull as lines: r rpm, t lb-ft, p hp, n N.m, k kW, s PS, g kgf.m, c corrected."""
    rows = [mark.join(heads)]
    rows += [mark.join(cell(kind, rpm, torque) for kind in kinds) for rpm, torque in truth.curve]
    return rows


def cell(kind: str, rpm: float, torque: float) -> str:
    """Return one number of a reading, by the letter of its kind."""
    numbers = {
        "r": f"{rpm:.0f}", "t": f"{torque:.1f}", "p": f"{power(torque, rpm):.1f}",
        "n": f"{torque * LBFT:.1f}", "k": f"{power(torque, rpm) * KW:.1f}",
        "s": f"{power(torque, rpm) * PS:.1f}", "g": f"{torque * KGFM:.2f}",
        "c": f"{1.062 * torque:.1f}", "d": f"{power(1.062 * torque, rpm):.1f}",
        "R": f"{rpm / 1000:.2f}", "T": f"{torque / 10:.2f}", "w": f"{torque:.0f}",
        "x": "0.88", "-": "",
    }  # fmt: skip
    return numbers[kind]


def text(rows: list[str], encoding: str = "utf-8", end: str = "\n") -> bytes:
    """Return lines as the bytes of a file."""
    return (end.join(rows) + end).encode(encoding)


def sheet(
    truth: Truth, *, fields=None, heads=("rpm", "torque", "power"), kinds=("r", "t", "p")
) -> bytes:
    """Return a sheet with fences; ``fields`` change or take out (``None``) what it says."""
    said = {**truth.values, **(fields or {})}
    said = {name: value for name, value in said.items() if value is not None}
    return text([*lines(said), *table(truth, heads, kinds)])


def grid(
    truth: Truth, heads=("RPM", "Torque (lb-ft)", "Power (hp)"), kinds=("r", "t", "p")
) -> list[list[object]]:
    """Return the pull as rows of cells, numbers as numbers."""
    rows: list[list[object]] = [list(heads)]
    for rpm, torque in truth.curve:
        rows.append([float(c) if c else None for c in (cell(k, rpm, torque) for k in kinds)])
    return rows


def xlsx(tabs: dict[str, list[list[object]]], merged: dict[str, list[str]] | None = None) -> bytes:
    """Return a workbook of today's kind."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in tabs.items():
        tab = book.create_sheet(title)
        for row in rows:
            tab.append(row)
        for where in (merged or {}).get(title, []):
            tab.merge_cells(where)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def xls(tabs: dict[str, list[list[object]]]) -> bytes:
    """Return a workbook of the old binary kind."""
    book = xlwt.Workbook()
    for title, rows in tabs.items():
        tab = book.add_sheet(title)
        for at, row in enumerate(rows):
            for place, value in enumerate(row):
                if value is not None:
                    tab.write(at, place, value)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def ods(tabs: dict[str, list[list[object]]]) -> bytes:
    """Return a workbook of the open kind (OASIS OpenDocument 1.2), as small as it can be."""
    import zipfile
    from xml.sax.saxutils import escape, quoteattr

    def one(value: object) -> str:
        if value is None:
            return "<table:table-cell/>"
        if isinstance(value, int | float):
            return (f'<table:table-cell office:value-type="float" office:value="{value}">'
                    f"<text:p>{value}</text:p></table:table-cell>")  # fmt: skip
        return ('<table:table-cell office:value-type="string">'
                f"<text:p>{escape(str(value))}</text:p></table:table-cell>")  # fmt: skip

    body = "".join(
        f"<table:table table:name={quoteattr(title)}>"
        + "".join(f"<table:table-row>{''.join(map(one, row))}</table:table-row>" for row in rows)
        + "</table:table>"
        for title, rows in tabs.items()
    )
    kind = "application/vnd.oasis.opendocument.spreadsheet"
    space = "urn:oasis:names:tc:opendocument:xmlns"
    content = (
        f'<?xml version="1.0"?><office:document-content xmlns:office="{space}:office:1.0"'
        f' xmlns:table="{space}:table:1.0" xmlns:text="{space}:text:1.0" office:version="1.2">'
        f"<office:body><office:spreadsheet>{body}</office:spreadsheet></office:body>"
        "</office:document-content>"
    )
    listed = (
        f'<?xml version="1.0"?><manifest:manifest xmlns:manifest="{space}:manifest:1.0">'
        f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{kind}"/>'
        '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/>'
        "</manifest:manifest>"
    )
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("mimetype", kind)
        archive.writestr("content.xml", content)
        archive.writestr("META-INF/manifest.xml", listed)
    return file.getvalue()
