"""Files as they are in real life: read as meant, with a note of what was read into them."""

import codecs

import openpyxl
import pytest
from valid_sheet import FIELDS, PULL, sheet_text

from pullbook.pipeline.checks import check_sheet
from pullbook.pipeline.reading import find_sheets, parse_sheet

HEAD, TABLE = sheet_text().rsplit("---\n", 1)
ROWS = [list(row) for row in PULL[1:]]
COMMAS = TABLE.splitlines()[0].replace(",", ";") + "\n"
COMMAS += "\n".join(";".join(row).replace(".", ",") for row in ROWS)


def judged(path):
    (raw,) = find_sheets.source(path)
    return check_sheet.judge(parse_sheet.typed(raw), check_sheet.SHEET_RULES)


@pytest.fixture
def whole(tmp_path):
    """Return the valid sheet's readings."""
    path = tmp_path / "whole.csv"
    path.write_text(sheet_text())
    return readings(judged(path))


def readings(sheet):
    return sorted((r.rpm, pytest.approx(r.torque, rel=1e-6)) for r in sheet.readings)


def sheet(tmp_path, table, head=HEAD, name="a.csv"):
    path = tmp_path / name
    path.write_bytes(table if isinstance(table, bytes) else f"{head}---\n{table}".encode())
    return judged(path)


def codes(found):
    return {f.code for f in found.findings}


@pytest.mark.parametrize(
    ("data", "note"),
    [
        (sheet_text().encode("utf-16"), "encoding"),
        (sheet_text().encode("utf-16-be"), "encoding"),
        (sheet_text({"family": "pétrel"}).encode("latin-1"), "encoding"),
        (codecs.BOM_UTF8 + sheet_text().replace("\n", "\r\n").encode(), None),
        (sheet_text().replace("\n", "\r").encode(), None),
        (f"{HEAD}---\n{TABLE}".replace(",", "\t").encode(), None),
        (f"{HEAD}---\n{COMMAS}".encode(), "decimal-comma"),
        (f"{HEAD}---\n{TABLE.replace(',', '|')}".encode(), None),
    ],
)
def test_encodings_and_separators(tmp_path, whole, data, note):
    found = sheet(tmp_path, data)
    assert found.accepted, found.findings
    assert readings(found) == whole
    assert codes(found) == ({note} if note else set())


def rows_with(change):
    return "\n".join([TABLE.splitlines()[0], *(",".join(change(row)) for row in ROWS), ""])


@pytest.mark.parametrize(
    ("table", "notes"),
    [
        (rows_with(lambda r: [f'"{int(r[0]):,}"', *r[1:]]), {"thousands-mark"}),
        (
            rows_with(lambda r: [f"{int(r[0]):,}".replace(",", "\u202f"), *r[1:]]),
            {"thousands-mark"},
        ),
        ("rpm,torque,power\n1/min,N.m,kW\n" + TABLE.split("\n", 1)[1], {"unit-row"}),
        ("Printed on a Tuesday\n\n" + TABLE + "Max,361.4,142.0\nend of test\n", {"text-left-out"}),
        (rows_with(list).replace("rpm,torque (N.m),power (kW)", "Engine Speed,Nm,kW"), {"read-as"}),
        ("\n".join([TABLE.splitlines()[0], *TABLE.splitlines()[:0:-1], ""]), set()),
        ("\n".join(TABLE.splitlines()[i] for i in (0, 4, 1, 6, 2, 5, 3)), {"unsorted-rpm"}),
        (rows_with(lambda r: [r[0], r[1], r[2]]).replace("rpm,", "RPM ,"), set()),
    ],
)
def test_what_stands_around_and_within_a_table(tmp_path, whole, table, notes):
    found = sheet(tmp_path, table)
    assert found.accepted, found.findings
    assert readings(found) == whole
    assert codes(found) == notes


def printed(*above, rows=ROWS):
    """Return a table as a printer sets it: columns with blanks alone between them."""
    lines = [("RPM", "Torque (N.m)", "Power (kW)"), *above, *rows]
    return "".join(f"{a:>7}  {b:>12}  {c:>10}\n" for a, b, c in lines)


@pytest.mark.parametrize(
    ("table", "notes"),
    [
        (printed(), set()),
        ("Printed on a Tuesday\n\n" + printed() + "end of test\n", {"text-left-out"}),
        (printed(("rpm", "N.m", "kW"), ("----", "----", "----")), {"unit-row", "text-left-out"}),
        (printed(rows=[[c.replace(".", ",") for c in row] for row in ROWS]), {"decimal-comma"}),
        (
            printed().replace("Torque (N.m)", "  Torque N.m").replace("Power (kW)", "  Power kW"),
            set(),
        ),
    ],
)
def test_columns_with_blanks_alone_between_them(tmp_path, whole, table, notes):
    found = sheet(tmp_path, table)
    assert found.accepted, found.findings
    assert readings(found) == whole
    assert codes(found) == notes


@pytest.mark.parametrize("gap", [1, 2])
def test_a_gap_in_a_printed_table_moves_no_cell_into_another_column(tmp_path, whole, gap):
    rows = [[*row] for row in ROWS]
    rows[2][gap] = ""
    found = sheet(tmp_path, printed(("", "N.m", "kW"), rows=rows))
    assert found.accepted, found.findings
    assert codes(found) == {"unit-row"}
    kept = [one for one in found.readings if one.rpm == float(ROWS[2][0])]
    assert [one.torque is None for one in kept] == [gap == 1]
    found.readings = [one for one in found.readings if one.rpm != float(ROWS[2][0])]
    assert readings(found) == whole[:2] + whole[3:]


def test_a_printed_row_of_units_need_not_begin_with_one(tmp_path):
    lines = ["   RPM     Torque", "              N.m",
             *(f"{r:>6}{t:>11}" for r, t, _ in ROWS)]  # fmt: skip
    found = sheet(tmp_path, "\n".join(lines))
    assert found.accepted
    assert found.readings[0].torque == pytest.approx(float(ROWS[0][1]) / 1.3558179, rel=1e-4)


def test_a_reading_between_two_printed_columns_is_refused(tmp_path):
    lines = printed().splitlines()
    lines[3] = "3000   " + "1" * 30
    found = sheet(tmp_path, "\n".join(lines))
    assert not found.accepted
    assert codes(found) == {"not-a-number"}


def test_decimal_commas_in_the_table_leave_points_in_the_fields(tmp_path, whole):
    table = COMMAS.replace("2000;", "2.000;")
    found = sheet(tmp_path, table)
    assert found.accepted
    assert found.values["compression_ratio"] == 9.4
    assert readings(found) == whole


def named(*names):
    rows = [f"{name},{r},{t}" for name in names for r, t, _ in ROWS]
    return "\n".join(["run,rpm,torque (N.m)", *rows, ""])


BESIDE = "rpm,torque (N.m),rpm,torque (N.m)\n" + "\n".join(f"{r},{t},{r},{t}" for r, t, _ in ROWS)
NUMBERED = "rpm,torque 1 (N.m),torque 2 (N.m)\n" + "\n".join(f"{r},{t},{t}" for r, t, _ in ROWS)
UP_AND_DOWN = TABLE + "\n".join(TABLE.splitlines()[:0:-1])


@pytest.mark.parametrize(
    ("table", "note"),
    [
        (BESIDE, "several-pulls"),
        (NUMBERED, "several-pulls"),
        (TABLE + "\nPull 2\n" + TABLE, "several-pulls"),
        (UP_AND_DOWN, "several-sweeps"),
        (named("A", "B"), "read-as"),
        (
            "run,rpm,torque (N.m)\n"
            + "\n".join(
                f"{name if at == 0 else ''},{r},{t}"
                for name in "AB"
                for at, (r, t, _) in enumerate(ROWS)
            ),
            "read-as",
        ),
        (named("run A") + named("run B"), "read-as"),
    ],
    ids=[
        "beside",
        "numbered",
        "stacked",
        "up and down",
        "letters",
        "letters once",
        "named and stacked",
    ],
)
def test_several_pulls_are_read_apart(tmp_path, whole, table, note):
    found = sheet(tmp_path, table)
    assert found.accepted, found.findings
    assert note in codes(found)
    pulls = sorted({r.pull for r in found.readings})
    assert len(pulls) == 2
    for pull in pulls:
        own = [r for r in found.readings if r.pull == pull]
        assert sorted((r.rpm, pytest.approx(r.torque, rel=1e-6)) for r in own) == whole


@pytest.mark.parametrize(
    ("table", "code"),
    [
        ("rpm,torque\n" + "\n".join(f"{r},{t.replace('.', ',')}" for r, t, _ in ROWS),
         "more-cells-than-headings"),
        ("rpm,torque,torque\n2000,1,2\n", "repeated-field"),
        ("rpm,torque\n2000,300\n2500,many\n", "not-a-number"),
        (named("1", "l"), "not-a-number"),
        ("run,rpm,torque\n" + "\n".join(f"{'abcdef'[i]},{r},{t}" for i, (r, t, _) in
                                        enumerate(ROWS)), "not-a-number"),
    ],
)  # fmt: skip
def test_what_cannot_be_told_is_refused(tmp_path, table, code):
    found = sheet(tmp_path, table)
    assert not found.accepted
    assert code in codes(found)


def test_columns_without_a_heading_are_left_out(tmp_path, whole):
    table = "rpm,,torque (N.m)\n" + "\n".join(f"{r},x,{t}" for r, t, _ in ROWS)
    assert readings(sheet(tmp_path, table)) == whole


@pytest.mark.parametrize("suffix", [".tsv", ".txt"])
def test_text_files_that_open_with_a_fence_are_sheets(tmp_path, suffix):
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / f"a{suffix}").write_text(sheet_text())
    (tmp_path / "in" / f"note{suffix}").write_text("call the yard")
    (tmp_path / "in" / "scan.pdf").write_bytes(b"%PDF")
    found = find_sheets.find([tmp_path / "in"])
    assert [p.name for p in found.sources] == [f"a{suffix}"]
    assert sorted(p.name for p in found.passed_over) == [f"note{suffix}", "scan.pdf"]


def test_a_ring_of_links_is_not_followed(tmp_path):
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "a.csv").write_text(sheet_text())
    (tmp_path / "in" / "ring").symlink_to(tmp_path / "in")
    assert len(find_sheets.find([tmp_path / "in"]).sources) == 1


def test_a_pipe_or_a_vanished_file_is_a_finding(tmp_path):
    import os

    os.mkfifo(tmp_path / "pipe.csv")
    (tmp_path / "gone.csv").symlink_to(tmp_path / "nowhere")
    found = [judged(path) for path in find_sheets.find([tmp_path]).sources]
    assert [codes(sheet) for sheet in found] == [{"not-readable"}, {"not-readable"}]


@pytest.mark.parametrize(
    "text",
    [
        "[" * 100_000,
        "- " * 100_000,
        "{a: " * 100_000,
        "a: &a [x, x]\nb: &b [*a, *a]\nc: &c [*b, *b]\nd: [*c, *c]\n",
        "bore: !!python/object/apply:os.system ['true']\n",
        "bore: 9:30\n? [a]\n: b\n",
    ],
)
def test_hostile_yaml_is_a_finding(tmp_path, text):
    found = sheet(tmp_path, TABLE, head=f"---\n{text}\n")
    assert not found.accepted


def test_a_tower_of_powers_is_no_unit(tmp_path):
    found = sheet(tmp_path, TABLE, head=HEAD.replace("3.9 in", "3.9 in^9^9^9^9^9"))
    assert "unknown-unit" in codes(found)


def test_too_large_is_said(tmp_path):
    found = sheet(tmp_path, "rpm,torque\n" + "2000,300\n" * 100_002)
    assert codes(found) == {"too-large"}
    assert codes(sheet(tmp_path, b"---\n" + b"x" * 17_000_000)) == {"too-large"}


def book(tmp_path, fill):
    made = openpyxl.Workbook()
    builds, pulls = made.active, made.create_sheet("pulls")
    builds.title = "builds"
    builds.append(list(FIELDS))
    builds.append([float(v) if v.replace(".", "").isdigit() else v for v in FIELDS.values()])
    pulls.append(["sheet_id", *PULL[0]])
    for row in PULL[1:]:
        pulls.append([FIELDS["sheet_id"], *map(float, row)])
    fill(builds, pulls)
    made.save(tmp_path / "book.xlsx")
    return judged(tmp_path / "book.xlsx")


def test_a_merged_name_stands_in_every_row(tmp_path, whole):
    def merge(_, pulls):
        pulls.merge_cells("A2:A7")

    found = book(tmp_path, merge)
    assert readings(found) == whole
    assert codes(found) == {"merged-cells"}


def test_a_merge_over_the_whole_tab_does_no_harm(tmp_path):
    def merge(builds, _):
        builds.merged_cells.add("A9:XFD1048576")

    assert book(tmp_path, merge).accepted


def test_a_formula_that_was_never_calculated_is_told(tmp_path):
    def formula(builds, _):
        builds["E2"] = "=D2*2"

    found = book(tmp_path, formula)
    assert {"formula-without-value", "missing"} <= codes(found)
    assert any("(E2)" in f.message for f in found.findings)


@pytest.mark.parametrize(("value", "shown"), [(0.45, "0%"), (45, '0"%"'), (45, "0\\%")])
def test_a_cell_formatted_as_a_percentage_is_what_it_shows(tmp_path, value, shown):
    def percent(builds, _):
        cell = builds.cell(2, list(FIELDS).index("relative_humidity") + 1)
        cell.value, cell.number_format = value, shown

    found = book(tmp_path, percent)
    assert found.values["relative_humidity"] == pytest.approx(45)


def test_units_below_the_headings_of_a_workbook(tmp_path, whole):
    def units(builds, pulls):
        builds.insert_rows(2)
        builds.cell(2, list(FIELDS).index("stroke") + 1, "mm")
        builds.cell(3, list(FIELDS).index("stroke") + 1, 92.1)
        pulls.insert_rows(2)
        for place, unit in enumerate(("rpm", "N.m", "kW"), start=2):
            pulls.cell(2, place, unit)

    found = book(tmp_path, units)
    assert found.values["stroke"] == pytest.approx(92.1 / 25.4)
    assert readings(found) == whole
    assert codes(found) == {"unit-row"}


def test_a_bomb_is_weighed_before_it_is_opened(tmp_path):
    import zipfile

    path = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as bomb:
        for part in range(30):
            bomb.writestr(f"xl/worksheets/sheet{part}.xml", b"0" * 10_000_000)
    assert path.stat().st_size < 1_000_000
    assert codes(judged(path)) == {"too-large"}


@pytest.mark.parametrize("entity", ["<!DOCTYPE x [<!ENTITY a 'b'>]>", "<a", "\x00"])
def test_a_damaged_workbook_is_a_finding(tmp_path, entity):
    import zipfile

    book(tmp_path, lambda *_: None)
    with zipfile.ZipFile(tmp_path / "book.xlsx") as old:
        parts = {name: old.read(name) for name in old.namelist()}
    parts["xl/worksheets/sheet1.xml"] = entity.encode() + parts["xl/worksheets/sheet1.xml"][60:]
    with zipfile.ZipFile(tmp_path / "book.xlsx", "w") as new:
        for name, data in parts.items():
            new.writestr(name, data)
    assert codes(judged(tmp_path / "book.xlsx")) == {"not-readable"}
