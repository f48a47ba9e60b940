"""The three carriers: the same sheets, whatever they come in."""

import csv

import openpyxl
import pytest
from valid_sheet import FIELDS, PULL, sheet_text

from pullbook.pipeline.checks import check_sheet
from pullbook.pipeline.checks.pull_rules import torque_of
from pullbook.pipeline.reading import find_sheets, parse_sheet


def judged(path):
    return [
        check_sheet.judge(parse_sheet.typed(r), check_sheet.SHEET_RULES)
        for r in find_sheets.sheets([path])
    ]


def content(sheet):
    return sheet.values, [(r.pull, r.rpm, r.torque, r.power) for r in sheet.readings]


@pytest.fixture
def tables():
    builds = [list(FIELDS), list(FIELDS.values())]
    pulls = [["sheet_id", *PULL[0]], *([FIELDS["sheet_id"], *row] for row in PULL[1:])]
    return builds, pulls


def write_csv(path, rows):
    with path.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)


def test_all_three_give_the_same_sheet(tmp_path, write_sheet, tables):
    file = write_sheet()
    folder = tmp_path / "tables"
    folder.mkdir()
    write_csv(folder / "builds.csv", tables[0])
    write_csv(folder / "pulls.csv", tables[1])
    book = openpyxl.Workbook()
    for title, rows in zip(("Builds", "pulls"), tables, strict=True):
        tab = book.create_sheet(title)
        for row in rows:
            tab.append([float(c) if c.replace(".", "").isdigit() else c for c in row])
    book.save(tmp_path / "book.xlsx")
    found = [judged(path) for path in (file, folder, tmp_path / "book.xlsx")]
    assert [len(sheets) for sheets in found] == [1, 1, 1]
    assert all(sheets[0].accepted for sheets in found), found
    assert content(found[0][0]) == content(found[1][0]) == content(found[2][0])


def test_values_are_in_the_units_of_the_dictionary(write_sheet):
    (sheet,) = judged(write_sheet())
    assert sheet.values["stroke"] == pytest.approx(92.1 / 25.4)
    assert sheet.values["air_temperature"] == pytest.approx(75.2)
    assert sheet.readings[0].torque == pytest.approx(345.2 / 1.3558179483)
    assert sheet.readings[0].power == pytest.approx(72.3 / 0.7456998716)


@pytest.mark.parametrize("mark", ["\ufeff", ""])
@pytest.mark.parametrize("end", ["\r\n", "\n"])
def test_byte_order_mark_and_line_ends_do_not_matter(tmp_path, mark, end):
    path = tmp_path / "a.csv"
    path.write_bytes((mark + sheet_text().replace("\n", end)).encode())
    assert judged(path)[0].accepted


def test_a_sheet_without_a_name_takes_its_files_stem(write_sheet):
    (sheet,) = judged(write_sheet({"sheet_id": ""}, name="harbour-12.csv"))
    assert sheet.sheet_id == "harbour-12"
    assert sheet.accepted


def test_rows_are_counted_as_a_person_sees_them(write_sheet):
    path = write_sheet({"bore": "wide"})
    (finding,) = [f for f in judged(path)[0].findings if f.code == "not-a-number"]
    assert path.read_text().splitlines()[finding.row - 1] == "bore: wide"


def test_rows_of_the_pull_are_counted_in_the_file(write_sheet):
    rows = [*PULL[:3], ("3000", "many", "113.5"), *PULL[4:]]
    path = write_sheet(pull=rows)
    (finding,) = [f for f in judged(path)[0].findings if f.code == "not-a-number"]
    assert path.read_text().splitlines()[finding.row - 1] == "3000,many,113.5"


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("rpm,torque\n2000,300\n", "no-front-matter"),
        ("---\nbore: 4\n", "no-front-matter"),
        ("", "no-front-matter"),
        ("---\nbore: [4, 5]\n---\nrpm,torque\n", "front-matter-unreadable"),
        ("---\n- bore\n---\n", "front-matter-unreadable"),
        ("---\nbore: 'open\n---\n", "front-matter-unreadable"),
        ("---\nbore: 4\nBore: 5\n---\n", "repeated-field"),
        ("---\nbore: 4\n---\nrpm,torque,torque\n2000,1,2\n", "repeated-field"),
    ],
)
def test_files_that_are_no_sheet_become_findings(tmp_path, text, code):
    path = tmp_path / "a.csv"
    path.write_text(text, encoding="utf-8")
    (sheet,) = judged(path)
    assert not sheet.accepted
    assert code in {f.code for f in sheet.findings}


@pytest.mark.parametrize("name", ["a.csv", "a.xlsx"])
def test_bytes_that_are_no_text_become_a_finding(tmp_path, name):
    path = tmp_path / name
    path.write_bytes(b"\xff\xfe\x00\x01\x80garbage")
    (sheet,) = judged(path)
    assert [f.code for f in sheet.findings] == ["not-readable"]


@pytest.mark.parametrize(
    ("line", "field", "value"),
    [
        ("muffled: no", "muffled", False),
        ("family: 0417", "family", "0417"),
        ("family: 9:30", "family", "9:30"),
        ("family: !!python/object:os.system x", "family", "x"),
        ("notes: 2024-01-01", "notes", "2024-01-01"),
        ("notes: owner says: good", "notes", "owner says: good"),
        ('notes: "quoted: fine"', "notes", "quoted: fine"),
        ("family: n/a: see notes", "family", "n/a: see notes"),
    ],
)
def test_yaml_resolves_nothing(write_sheet, line, field, value):
    name, _, text = line.partition(": ")
    (sheet,) = judged(write_sheet({name: text}))
    assert sheet.values[field] == value


def test_unknown_fields_and_columns_are_left_out_and_told(write_sheet):
    pull = [(*PULL[0], "lambda"), *((*row, "0.9") for row in PULL[1:])]
    (sheet,) = judged(write_sheet({"paint": "grey"}, pull))
    assert sheet.accepted
    assert {("unknown-field", "paint"), ("unknown-column", "lambda")} <= {
        (f.code, f.field) for f in sheet.findings
    }


@pytest.mark.parametrize("mark", ["-", "?", "- ", "?  ", "NA", "~"])
def test_a_lone_mark_says_that_nothing_is_known(write_sheet, mark):
    (sheet,) = judged(write_sheet({"octane": mark, "stroke": "92.1 mm"}))
    assert sheet.accepted
    assert "octane" not in sheet.values


def test_power_alone_is_enough(write_sheet):
    (sheet,) = judged(write_sheet(pull=[(row[0], row[2]) for row in PULL]))
    assert sheet.accepted
    torque = torque_of(None, sheet.readings[0].power, sheet.readings[0].rpm)
    assert torque == pytest.approx(345.2 / 1.3558, rel=0.002)


def test_pulls_without_a_build_and_twice_named_builds_are_refused(tmp_path, tables):
    builds, pulls = tables
    write_csv(tmp_path / "builds.csv", [*builds, builds[1]])
    write_csv(tmp_path / "pulls.csv", [*pulls, ["stranger", *PULL[1]]])
    sheets = judged(tmp_path)
    assert [s.accepted for s in sheets] == [False, False, False]
    assert {f.code for f in sheets[0].findings} >= {"repeated-field"}
    assert [f.code for f in sheets[2].findings] == ["pull-without-build"]


@pytest.mark.parametrize("name", ["missing.csv", "note.txt", "empty"])
def test_paths_that_carry_no_sheets_are_an_error(tmp_path, name):
    (tmp_path / "note.txt").write_text("hello")
    (tmp_path / "empty").mkdir()
    with pytest.raises(find_sheets.NothingToReadError):
        list(find_sheets.sheets([tmp_path / name]))
