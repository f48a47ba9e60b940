"""One megabyte of whatever slows a reader down costs seconds and a finding, not an hour."""

import io
import json
import subprocess
import sys
import time
import zipfile
from pathlib import Path

import openpyxl
import pytest
from command_line import run
from peak_memory import peak
from valid_sheet import PULL, sheet_text

from pullbook.pipeline.checks import check_sheet, checked_sheets
from pullbook.pipeline.files import bounds

HEAD = "cylinders: 6\nbore: 3.9 in\nstroke: 3.6 in\ncorrection: SAE J1349\n"
TABLE = "\n".join(PULL) + "\n" if isinstance(PULL[0], str) else "rpm,torque\n" + "".join(
    f"{rpm},300\n" for rpm in range(2000, 5000, 250)
)  # fmt: skip
UNITS = [" ", "-", "1", ".", ",", "(", "a ", "0,", "1/", "'", ":", "_ ", "\t", "[", " #", "..  "]
WIDTHS = [1_000_000, 19_000, 290, 150]
SECONDS, MEGABYTES = 10, 300
TESTS = Path(__file__).parents[1]


def filled(unit, width):
    return (unit * (width // len(unit) + 1))[:width]


def texts(unit, width):
    """Return sheets with a megabyte of one shape, in each of the places where texts stand."""
    text, many = filled(unit, width), max(1, 1_000_000 // width)
    few = min(many, 400)
    return {
        "values": f"---\n{HEAD}"
        + "".join(f"n{i}: a{text}b\n" for i in range(few))
        + f"---\n{TABLE}",
        "fields": f"---\n{HEAD}" + f"a{text}b\n" * many + f"---\n{TABLE}",
        "names": f"---\n{HEAD}" + "".join(f"{text}{i}: 5\n" for i in range(few)) + f"---\n{TABLE}",
        "cells": f"---\n{HEAD}intake_type: 3{text}\ncam: 2{text}\nfuel: a{text}b\n---\n{TABLE}",
        "lines": f"a{text}b\n" * many + HEAD + TABLE,
        "headings": f"---\n{HEAD}---\n"
        + TABLE.replace("torque", "torque," + ",".join(f"a{text}{i}" for i in range(few)), 1),
        "readings": f"---\n{HEAD}---\n{TABLE}" + f"5000,3{text}b\n" * many,
    }


def cost(paths):
    """Return the sheets below some paths, and the seconds of the processor they cost."""
    start = time.process_time()
    found = checked_sheets.read(paths, check_sheet.SHEET_RULES).sheets
    return found, time.process_time() - start


@pytest.mark.slow
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("unit", UNITS)
def test_a_megabyte_of_each_shape_costs_seconds(tmp_path, unit, width):
    path = tmp_path / "sheet.csv"
    for kind, text in texts(unit, width).items():
        path.write_text(text)
        _, seconds = cost([path])
        assert seconds < SECONDS, kind


@pytest.mark.parametrize(
    ("unit", "kind"),
    [(" ", "fields"), ("-", "fields"), ("1", "values"), ("-", "headings"), (" ", "lines")],
)
def test_the_shapes_that_hung_cost_little(tmp_path, unit, kind):
    path = tmp_path / "sheet.csv"
    for width in (250_000, 19_000):
        path.write_text(texts(unit, width)[kind])
        assert cost([path])[1] < SECONDS


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (f"---\n{HEAD}notes: {'x' * 300_000}\n---\n{TABLE}", "too-long"),
        (f"---\n{HEAD}family: {'x' * 400}\n---\n{TABLE}", "too-long"),
        (f"---\n{HEAD}notes: {'x ' * 5000}\n---\n{TABLE}", "too-long"),
        (f"---\n{HEAD}---\n{TABLE}".replace("torque", "torque" + ",t" * 600), "too-large"),
        (f"---\n{HEAD}---\n{TABLE}".replace("torque", "torque" + "e" * 200_000), "too-long"),
        (f"---\n{HEAD}" + "".join(f"f{i}: 1\n" for i in range(2000)) + f"---\n{TABLE}",
         "front-matter-unreadable"),
        (f"---\n{HEAD}bore: {'1' * 290}\n---\n{TABLE}".replace("bore: 3.9 in\n", ""), "out-of-range"),
    ],
)  # fmt: skip
def test_each_bound_is_one_finding_and_the_rest_is_read(tmp_path, text, code):
    (tmp_path / "a.csv").write_text(sheet_text({"sheet_id": "sound"}))
    (tmp_path / "b.csv").write_text(text)
    found, seconds = cost([tmp_path])
    assert seconds < SECONDS
    assert [sheet.sheet_id for sheet in found if sheet.accepted] == ["sound"]
    (bad,) = [sheet for sheet in found if not sheet.accepted]
    assert [f.code for f in bad.findings].count(code) == 1


def test_pulls_that_name_eight_thousand_sheets_cost_seconds(tmp_path):
    (tmp_path / "builds.csv").write_text("sheet_id,cylinders,bore,stroke,correction\n" + "".join(
        f"s{i},6,3.9,3.6,SAE J1349\n" for i in range(200)))  # fmt: skip
    (tmp_path / "pulls.csv").write_text("sheet_id,rpm,torque\n" + "".join(
        f"t{i},2000,300\n" for i in range(8000)))  # fmt: skip
    found, seconds = cost([tmp_path])
    assert len(found) == 8200
    assert seconds < SECONDS


def test_files_of_one_name_do_not_list_one_another(tmp_path):
    for number in range(300):
        (tmp_path / f"{number}.csv").write_text(
            sheet_text({"bore": f"{3.9 + number / 1000:.3f} in"})
        )
    done = run("check", tmp_path, "--json")
    assert len(done.stdout) < 300 * 5000
    assert json.loads(done.stdout)


# --- workbooks ----------------------------------------------------------------------------


def workbook(path, change=None, tabs=1):
    book = openpyxl.Workbook()
    for number in range(tabs):
        tab = book.active if number == 0 else book.create_sheet(f"t{number}")
        tab.append(["Cylinders", 6])
        if change:
            change(tab)
    book.save(path)
    return path


def repacked(path, name, data, kind=zipfile.ZIP_DEFLATED):
    """Put other content into a part of a workbook."""
    out = io.BytesIO()
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(out, "w", kind) as new:
        for entry in old.namelist():
            new.writestr(entry, data if entry == name else old.read(entry))
        if name not in old.namelist():
            new.writestr(name, data)
    path.write_bytes(out.getvalue())
    return path


SHEET = "xl/worksheets/sheet1.xml"
HEADED = '<?xml version="1.0"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
BOMBS = {
    "zeros": lambda p: repacked(p, SHEET, b"\0" * 90_000_000),
    "many zeros": lambda p: repacked(p, "xl/media/big.bin", b"\0" * 300_000_000),
    "styles": lambda p: repacked(p, "xl/styles.xml", b"<a>" + b"<b/>" * 9_000_000 + b"</a>"),
    "entities": lambda p: repacked(p, SHEET, b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">]><x>&a;</x>'),
    "external": lambda p: repacked(
        p, SHEET, b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]><x>&a;</x>'),
    "cells": lambda p: repacked(
        p, SHEET, (HEADED + "<row>" + "<c><v>1</v></c>" * 3_000_000 + "</row></sheetData></worksheet>").encode()),
    "rows": lambda p: repacked(
        p, SHEET, (HEADED + "<row/>" * 9_000_000 + "</sheetData></worksheet>").encode()),
    "far row": lambda p: repacked(
        p, SHEET, (HEADED + "<row r='1048576'><c r='A1048576'><v>1</v></c></row></sheetData></worksheet>").encode()),
    "merged": lambda p: repacked(
        p, SHEET, (HEADED + "</sheetData><mergeCells>" + '<mergeCell ref="A1:B2"/>' * 900_000
                   + "</mergeCells></worksheet>").encode()),
    "texts": lambda p: repacked(
        p, "xl/sharedStrings.xml", b"<sst>" + b"<si><t>a</t></si>" * 4_000_000 + b"</sst>"),
    "no archive": lambda p: p.write_bytes(b"PK\x03\x04" + b"\0" * 1000),
}  # fmt: skip


@pytest.mark.parametrize("bomb", BOMBS)
def test_a_bomb_costs_little_and_the_rest_is_read(tmp_path, bomb):
    path = workbook(tmp_path / "bomb.xlsx")
    BOMBS[bomb](path)
    (tmp_path / "sound.csv").write_text(sheet_text({"sheet_id": "sound"}))
    before = peak(anew=True)
    found, seconds = cost([tmp_path])
    assert [sheet.sheet_id for sheet in found if sheet.accepted] == ["sound"]
    assert {f.code for sheet in found for f in sheet.findings if not sheet.accepted} <= {
        "too-large", "too-long", "not-readable"}  # fmt: skip
    assert seconds < SECONDS
    assert peak() - before < MEGABYTES


def test_six_hundred_tabs_are_one_finding(tmp_path):
    found, seconds = cost([workbook(tmp_path / "tabs.xlsx", tabs=600)])
    assert [f.code for sheet in found for f in sheet.findings] == ["too-large"]
    assert seconds < 3 * SECONDS


def ods(path, table):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("META-INF/manifest.xml", "<manifest/>")
        archive.writestr(
            "content.xml",
            '<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0"'
            ' xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0"'
            ' xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"><office:body>'
            f'<office:spreadsheet><table:table table:name="a">{table}</table:table>'
            "</office:spreadsheet></office:body></office:document-content>",
        )
    return path


CLAIMED = (
    '<table:table-row table:number-rows-repeated="1048576"><table:table-cell'
    ' table:number-columns-repeated="16384" office:value-type="string"><text:p>x</text:p>'
    "</table:table-cell></table:table-row>"
)
#: A billion values in a few lines.
LAUGHS = "a0: &a0 [x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 9)}]\n" for i in range(1, 12)
)


def test_an_open_workbook_that_claims_a_billion_cells_is_refused(tmp_path):
    path = ods(tmp_path / "claims.ods", CLAIMED)
    (tmp_path / "sound.csv").write_text(sheet_text({"sheet_id": "sound"}))
    start = time.perf_counter()
    found, _ = cost([tmp_path])
    assert time.perf_counter() - start < 60
    assert path.is_file()
    assert [sheet.sheet_id for sheet in found if sheet.accepted] == ["sound"]
    codes = {f.code for sheet in found for f in sheet.findings if not sheet.accepted}
    assert codes == {"too-large"}


def pack_of_zeros(path, name):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        with archive.open(name, "w", force_zip64=True) as file:
            for _ in range(2000):
                file.write(b"\0" * 1_000_000)
        archive.writestr("pack.json", "{}")


CLAIMS = {
    **{name: ("bomb.xlsx", lambda p, make=make: make(workbook(p))) for name, make in BOMBS.items()},
    "open workbook": ("bomb.ods", lambda p: ods(p, CLAIMED)),
    "open workbook of zeros": ("bomb.ods", lambda p: repacked(
        ods(p, CLAIMED), "content.xml", b"\0" * 90_000_000)),
    "older workbook": ("bomb.xls", lambda p: p.write_bytes(
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\xff" * 4_000_000)),
    "settings": ("pullbook.yaml", lambda p: p.write_text(LAUGHS)),
    "text of zeros": ("bomb.csv", lambda p: p.write_bytes(b"\0" * 60_000_000)),
    "one line": ("bomb.csv", lambda p: p.write_bytes(b"a," * 20_000_000)),
    "pack": ("bomb.zip", lambda p: pack_of_zeros(p, "a.csv")),
    "pack of a manifest": ("bomb.zip", lambda p: pack_of_zeros(p, "more.json")),
}  # fmt: skip
_MEASURE = """
import json, resource, sys, time
from pathlib import Path
from peak_memory import peak
from pullbook.pipeline.checks import check_sheet, checked_sheets
from pullbook.pipeline.privacy import pack
from pullbook.schemas.errors import InputError

def act(place, bomb):
    try:
        if bomb.suffix == ".zip":
            pack.unpack(bomb, place / "into")
        checked_sheets.read([place], check_sheet.SHEET_RULES)
    except InputError as fault:
        return str(fault)
    return ""

sound, bomb = map(Path, sys.argv[1:])
act(sound, sound)
before, start = peak(anew=True), time.process_time()
said = act(bomb.parent, bomb)
spent = time.process_time() - start + resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
child = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1000
print(json.dumps([max(peak(), child) - before, spent, said]))
"""


@pytest.mark.slow
@pytest.mark.parametrize("claim", CLAIMS)
def test_what_a_bomb_costs_a_process_of_its_own(tmp_path, claim):
    """At most 300 MB beyond what the process takes that read a sound sheet, and 10 s."""
    (tmp_path / "sound").mkdir()
    (tmp_path / "sound" / "a.csv").write_text(sheet_text())
    (tmp_path / "bomb").mkdir()
    name, make = CLAIMS[claim]
    make(tmp_path / "bomb" / name)
    done = subprocess.run(
        [sys.executable, "-c", _MEASURE, str(tmp_path / "sound"), str(tmp_path / "bomb" / name)],
        capture_output=True,
        text=True,
        check=True,
        cwd=TESTS,
    )
    memory, seconds, _ = json.loads(done.stdout)
    print(f"{claim}: {memory:.0f} MB, {seconds:.1f} s")
    assert memory < MEGABYTES
    assert seconds < SECONDS


@pytest.mark.parametrize("name", ["a.xls", "a.ods", "a.xlsx"])
@pytest.mark.parametrize(
    "data", [b"", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 4000, b"text", b"PK"]
)
def test_a_workbook_that_is_none_is_one_finding(tmp_path, name, data):
    (tmp_path / name).write_bytes(data)
    found, _ = cost([tmp_path])
    assert [f.code for sheet in found for f in sheet.findings] == ["not-readable"]


def test_columns_beyond_the_limit_are_said(tmp_path):
    def far(tab):
        tab.cell(row=2, column=bounds.CELLS + 5, value="lost")

    found, _ = cost([workbook(tmp_path / "wide.xlsx", far)])
    assert any("column" in f.message and "left out" in f.message for s in found for f in s.findings)


@pytest.mark.parametrize("name", ["pullbook.yaml", "build.yaml"])
@pytest.mark.parametrize(
    "text",
    [
        LAUGHS,
        "a: &a [*a]\n",
        "[" * 100_000,
        "a: " + "{b: " * 50_000,
        "- " * 200_000,
    ],
    ids=["laughs", "itself", "deep", "deep mapping", "dashes"],
)
def test_a_file_of_settings_or_a_build_that_stands_for_billions(tmp_path, name, text):
    (tmp_path / "a.csv").write_text(sheet_text())
    (tmp_path / name).write_text(text)
    start = time.process_time()
    done = run("check", tmp_path) if name == "pullbook.yaml" else run("predict", tmp_path / name)
    assert time.process_time() - start < SECONDS
    assert done.returncode in (1, 2)
    assert "error in the program" not in done.stderr
