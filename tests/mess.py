"""A seeded mess: clean sheets in every form that people write, and one planted fault each.

Run it to see hits and false alarms by rule: ``python tests/mess.py``.
"""

from __future__ import annotations

import codecs
import random
import tempfile
from collections import Counter
from pathlib import Path

from pullbook.pipeline.checks import check_sheet, duplicates
from pullbook.pipeline.demo import dyno_pulls, sheets, shops
from pullbook.pipeline.reading import find_sheets, parse_sheet

SHOPS, SHEETS = 24, 320
#: Findings that a clean sheet may carry: they tell of the sheet, not of a fault.
EXPECTED = {
    "nominal-correction", "correction-range", "chassis-dyno", "assumed-humidity", "read-as",
    "encoding", "decimal-comma", "thousands-mark", "unit-row", "text-left-out", "several-pulls",
    "several-sweeps", "unsorted-rpm", "engine-rebuilt",
}  # fmt: skip


def clean(seed: int):
    """Return made sheets as fields, headings and rows of text."""
    made = dyno_pulls.run(shops.Circle(SHOPS, SHEETS, seed))
    return [(sheets.fields_of(m), *sheets.pull_of(m)) for m in made]


def _number(fields, name):
    return float(fields[name].split()[0]) / (25.4 if fields[name].endswith("mm") else 1)


def _torque(rows, place, factor):
    """Multiply torque and power of one row."""
    return [
        [row[0], *(f"{float(c) * factor:.2f}" for c in row[1:])] if i == place else row
        for i, row in enumerate(rows)
    ]


def _fields(**change):
    def plant(fields, heads, rows):
        new = {k: (v(fields) if callable(v) else v) for k, v in change.items()}
        return {k: v for k, v in {**fields, **new}.items() if v is not None}, heads, rows

    return plant


def _pull(change):
    return lambda fields, heads, rows: (fields, *change(heads, rows))


def _rows(change):
    """Change every row; columns beyond those of the first row go."""

    def plant(fields, heads, rows):
        new = [change(row) for row in rows]
        return fields, heads[: len(new[0])], new

    return plant


def _stuck(heads, rows):
    digits = 1 if "." in rows[4][1] else 0
    held = f"{1.03 * float(rows[4][1]):.{digits}f}"  # off the curve
    return heads[:2], [[x[0], held if 3 <= i < 10 else x[1]] for i, x in enumerate(rows)]


def _millimetres(name):
    return lambda fields: f"{25.4 * _number(fields, name):.1f}"


def _repeat(heads, rows, factor):
    second = [[r[0], *(f"{float(c) * factor:.2f}" for c in r[1:])] for r in rows]
    return [*heads, "pull"], [[*r, "1"] for r in rows] + [[*r, "2"] for r in second]


#: The size of an engine in bare inches.
_INCHES = {n: lambda fields, name=n: f"{_number(fields, name):.3f}" for n in ("bore", "stroke")}
#: A planted fault by name: the code that must be found, and what plants it.
FAULTS = {
    "bore in bare mm": ("unit-explained", _fields(bore=_millimetres("bore"))),
    "stroke in bare mm": ("unit-explained", _fields(stroke=_millimetres("stroke"))),
    "lift in bare mm": ("unit-assumed", _fields(intake_lift="11.9", **_INCHES)),
    "valve in bare mm": ("unit-assumed", _fields(intake_valve="48", **_INCHES)),
    "barometer in bare hPa": (
        "unit-assumed", _fields(barometer="1013", correction="SAE J607", **_INCHES)),
    "air in bare degC on a metric sheet": (
        "unit-explained", _fields(bore=lambda f: f"{25.4 * _number(f, 'bore'):.1f} mm",
                                 air_temperature="24"),
    ),
    "air in bare degC": (
        "unit-in-doubt", _fields(bore=lambda f: f"{_number(f, 'bore'):.3f}",
                                 stroke=lambda f: f"{_number(f, 'stroke'):.3f}",
                                 barometer="29.6", air_temperature="21"),
    ),
    "sea-level barometer": (
        "sea-level-barometer", _fields(elevation="5200", barometer="29.9 inHg",
                                       air_temperature="70 degF"),
    ),
    "unknown unit": ("unknown-unit", _fields(bore="4.03 zolls")),
    "wrong unit": ("wrong-unit", _fields(bore="4.03 psi")),
    "words for a number": ("left-missing", _fields(compression_ratio="about ten")),
    "a choice that is none": ("left-missing", _fields(intake_type="quadruple plane")),
    "a flag that is none": ("left-missing", _fields(muffled="a little")),
    "a date that is none": ("left-missing", _fields(tested_on="last spring")),
    "half a cylinder": ("not-whole", _fields(cylinders="6.5")),
    "no stroke": ("missing", _fields(stroke=None)),
    "no weather": (
        "missing-weather", _fields(correction="observed", barometer=None, air_temperature=None)),
    "out of range": ("out-of-range", _fields(lobe_separation="12")),
    "boost missing": ("missing-boost", _fields(aspiration="supercharged", boost=None)),
    "boost of a natural engine": ("boost-of-natural", _fields(aspiration="natural", boost="7")),
    "bore over stroke": (
        "bore-stroke", _fields(stroke=lambda f: f"{_number(f, 'bore') / 2.8:.3f}")),
    "rod shorter than the stroke": (
        "rod-stroke", _fields(rod_length=lambda f: f"{_number(f, 'stroke') * 0.9:.3f}")),
    "valve larger than the bore": (
        "valve-bore", _fields(intake_valve=lambda f: f"{_number(f, 'bore') * 0.9:.3f}")),
    "exhaust far larger than intake": (
        "exhaust-intake-valve", _fields(intake_valve="1.0", exhaust_valve="1.9", bore="4.0",
                                        port_csa=None, intake_flow=None, exhaust_lift=None)),
    "lift beyond the valve": (
        "lift-valve", _fields(intake_lift="1.1", intake_valve="1.4", exhaust_lift=None)),
    "seat shorter than 0.050": (
        "seat-duration", _fields(intake_duration="230", intake_duration_seat="226")),
    "lobes of two cams": (
        "exhaust-intake-duration-unusual",
        _fields(intake_duration="210", exhaust_duration="262", intake_duration_seat=None,
                exhaust_duration_seat=None)),
    "centerline of another cam": (
        "centerline-separation-unusual", _fields(intake_centerline="130", lobe_separation="108")),
    "flow no valve passes": ("flow-valve", _fields(intake_flow="700", intake_valve="1.5")),
    "compression for another fuel": (
        "compression-fuel-unusual",
        _fields(compression_ratio="15.5", fuel="gasoline", octane="87", aspiration="natural",
                boost=None)),
    "octane of another fuel": ("octane-fuel-unusual", _fields(fuel="methanol", octane="87")),
    "a vee of five": ("cylinders-arrangement-unusual", _fields(arrangement="vee", cylinders="5")),
    "three times the rpm": (
        "piston-speed", _rows(lambda x: [f"{float(x[0]) * 3:.0f}", x[1]])),
    "a tenth of the rpm": (
        "rpm-unusual", _rows(lambda x: [f"{float(x[0]) / 10:.1f}", *x[1:2], ""])),
    "too few rpm": ("too-few-rpm", _pull(lambda h, r: (h, r[:4]))),
    "power in other units": (
        "torque-power-disagree", _rows(lambda x: [*x[:2], f"{float(x[2]) * 0.8:.1f}"])),
    "kilogram metres called lb-ft": (
        "mean-pressure", _rows(lambda x: [x[0], f"{float(x[1]) * 0.12:.2f}"])),
    "a spike": ("spike", _pull(lambda h, r: (h, _torque(r, len(r) // 2, 1.25)))),
    "a dropout": ("dropout", _pull(lambda h, r: (h, _torque(r, len(r) // 2, 0.7)))),
    "a last reading cut off": ("dropout", _pull(lambda h, r: (h, _torque(r, len(r) - 1, 0.65)))),
    "a hole in the sweep": (
        "sweep-gap", _pull(lambda h, r: (h, [r[0], *r[2:3], *r[-5:]]))),
    "a stuck sensor": (
        "sensor-plateau", _pull(_stuck)),
    "pulls of two builds": ("two-corrections", _pull(lambda h, r: _repeat(h, r, 1.12))),
    "a row without a reading": (
        "row-without-reading", _pull(lambda h, r: (h, [*r, ["9000", "", ""]]))),
    "a row without rpm": ("missing-rpm", _pull(lambda h, r: (h, [*r, ["", *r[-1][1:]]]))),
    "decimal commas in a comma file": (
        "more-cells-than-headings", _pull(lambda h, r: (h[:2], [[x[0], "245", "2"] for x in r]))),
    "a field twice": ("repeated-field", _fields(bore="4.1 in", **{"Bore ": "3.9 in"})),
    "a list for a field": ("front-matter-unreadable", _fields(family="[a, b]")),
    "no table": ("no-pull", _pull(lambda _h, _r: (["speed", "grunt"], [["1", "2"]]))),
    "a field of another world": ("unknown-field", _fields(paint="grey")),
}  # fmt: skip

_FORMS = ("plain", "semicolon", "tab", "utf-16", "latin-1", "crlf", "units", "titles", "falling")


def text_of(fields, heads, rows, form: str) -> bytes:
    """Write a sheet in one of the forms that people write."""
    mark = {"semicolon": ";", "tab": "\t"}.get(form, ",")
    lines = [f"{name}: {value}" for name, value in fields.items()]
    body = rows[::-1] if form == "falling" else rows
    table = [heads, *body]
    if form == "units" and any("(" in head for head in heads):
        names, units = zip(
            *((h.split(" (")[0], h.partition("(")[2].rstrip(")")) for h in heads), strict=True
        )
        table = [list(names), ["rpm", *units[1:]], *body]
    if form == "titles":
        table = [["Pull of the day"], *table, ["Max", *rows[-1][1:]], ["end of test"]]
    if form == "semicolon":
        table = [table[0], *([c.replace(".", ",") for c in row] for row in table[1:])]

    def cell(text):
        return f'"{text}"' if mark in text else text

    text = "\n".join(["---", *lines, "---", *(mark.join(map(cell, r)) for r in table), ""])
    match form:
        case "utf-16":
            return codecs.BOM_UTF16_LE + text.encode("utf-16-le")
        case "latin-1":
            return text.replace("notes: ", "notes: für ").encode("latin-1")
        case "crlf":
            return codecs.BOM_UTF8 + text.replace("\n", "\r\n").encode()
    return text.encode()


def _raw(fields, heads, rows, fault):
    """Write a fault that must stay as it is: without the quoting a form would add."""
    if fault not in ("decimal commas in a comma file",):
        return text_of(fields, heads, rows, "plain")
    head = text_of(fields, heads, rows[:0], "plain").decode()
    return (head + "\n".join(",".join(row) for row in rows) + "\n").encode()


def judged(data: bytes, folder: Path, name: str):
    """Read and judge one sheet."""
    path = folder / f"{name}.csv"
    path.write_bytes(data)
    (raw,) = find_sheets.source(path)
    return check_sheet.judge(parse_sheet.typed(raw), check_sheet.CONTRIBUTION_RULES)


def tally(seed: int):
    """Return hits and plantings by fault, false alarms by code, and clean sheets refused."""
    rng = random.Random(seed)  # noqa: S311 - nothing secret
    hits, planted, alarms, refused = Counter(), Counter(), Counter(), []
    made = clean(seed)
    long = [m for m in made if len(m[2]) >= 12]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        whole = []
        for i, one in enumerate(made):
            sheet = judged(text_of(*one, rng.choice(_FORMS)), folder, f"clean-{i}")
            whole.append(sheet)
            if not sheet.accepted:
                refused.append((one[0]["sheet_id"], [f.message for f in sheet.findings]))
        duplicates.judge(whole)
        for sheet in whole:
            alarms.update({f.code for f in sheet.findings} - EXPECTED)
        for fault, (code, plant) in FAULTS.items():
            for i, one in enumerate(rng.sample(long, 6)):
                sheet = judged(_raw(*plant(*one), fault), folder, f"bad-{i}")
                planted[fault] += 1
                hits[fault] += code in {f.code for f in sheet.findings}
    return hits, planted, alarms, refused, len(made)


def main() -> None:
    """Print hits and false alarms."""
    hits, planted, alarms, refused, count = tally(1)
    print(f"{'planted fault':38} {'code':34} found")
    for fault, (code, _) in FAULTS.items():
        print(f"{fault:38} {code:34} {hits[fault]}/{planted[fault]}")
    print(
        f"\n{count} clean sheets: {len(refused)} refused; warnings that no fault was planted for:"
    )
    for code, number in alarms.most_common():
        print(f"  {code:34} {number}")
    for name, messages in refused:
        print(name, messages)


if __name__ == "__main__":
    main()
