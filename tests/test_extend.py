"""A build that extends another: what is taken over, what is changed, and every way it can fail."""

import pytest

from pullbook.arguments import inputs
from pullbook.pipeline.builds import build_files, extended_build
from pullbook.pipeline.checks import check_sheet
from pullbook.pipeline.reading import parse_sheet
from pullbook.pipeline.values import cells
from pullbook.pipeline.vocabulary.headings import PLAIN
from pullbook.schemas.field import Kind
from pullbook.schemas.fields import FIELDS

BASE = {
    "sheet_id": "harbour-launch",
    "family": "gannet-eight",
    "cylinders": "8",
    "bore": "4.03 in",
    "stroke": "88.392 mm",
    "intake_duration": "218",
    "fuel": "gasoline",
    "muffled": "yes",
}


@pytest.fixture
def write(tmp_path):
    def one(name, fields=None, **more):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        given = {**(BASE if fields is None else fields), **more}
        lines = [f"{field}: {text}".rstrip() for field, text in given.items()]
        path.write_text("\n".join([*lines, ""]), encoding="utf-8")
        return path

    return one


def build(path):
    """Read and judge the one build in a file, as a question is."""
    (raw,) = build_files.raw_builds(path)
    return check_sheet.judge(parse_sheet.typed(raw), check_sheet.BUILD_RULES)


def fault(path):
    """Return the one finding that refuses a build."""
    sheet = build(path)
    (found,) = [f for f in sheet.findings if f.severity == "refuse"]
    return found


def test_every_field_is_taken_over_and_some_are_changed(write):
    base = build(write("base.yaml"))
    other = build(write("cam.yaml", {"extend": "base.yaml", "intake_duration": "230"}))
    assert other.accepted
    assert other.findings == []
    assert other.values == {**base.values, "intake_duration": 230.0, "sheet_id": "cam"}


def test_a_build_names_itself(write):
    write("base.yaml")
    assert build(write("a.yaml", {"extend": "base.yaml", "sheet_id": "mine"})).sheet_id == "mine"
    assert build(write("b.yaml", {"extend": "base.yaml", "sheet_id": "-"})).sheet_id == "b"


@pytest.mark.parametrize("marker", ["-", "NA", "n/a", "?", "unknown", "", "~", "null"])
def test_a_field_that_is_not_known_is_taken_out(write, marker):
    write("base.yaml")
    sheet = build(write("a.yaml", {"extend": "base.yaml", "intake_duration": marker}))
    assert sheet.accepted
    assert "intake_duration" not in sheet.values
    assert sheet.values["bore"] == 4.03


def test_a_required_field_taken_out_is_missing(write):
    write("base.yaml")
    found = fault(write("a.yaml", {"extend": "base.yaml", "bore": "NA"}))
    assert (found.code, found.field, found.row) == ("missing", "bore", 2)


def test_none_says_no_to_a_yes_or_no(write):
    write("base.yaml")
    sheet = build(write("a.yaml", {"extend": "base.yaml", "muffled": "none"}))
    assert sheet.values["muffled"] is False


def test_chains_are_followed_and_the_nearest_value_stands(write):
    write("a/base.yaml")
    write("b/middle.yaml", {"extend": "../a/base.yaml", "bore": "4.06 in", "fuel": "NA"})
    path = write("b/last.yml", {"extend": "middle.yaml", "stroke": "3.75 in"})
    sheet = build(path)
    assert sheet.findings == []
    assert (sheet.values["bore"], sheet.values["stroke"]) == (4.06, 3.75)
    assert "fuel" not in sheet.values
    (raw,) = build_files.raw_builds(path)
    assert [file.name for file in raw.files] == ["last.yml", "middle.yaml", "base.yaml"]


def test_a_base_need_not_be_whole(write):
    write("heads.yaml", {"intake_valve": "2.02 in", "intake_flow": "225 cfm"})
    write("base.yaml", extend="heads.yaml")
    sheet = build(write("a.yaml", {"extend": "base.yaml"}))
    assert sheet.accepted
    assert sheet.values["intake_valve"] == 2.02


def chain(write, files):
    """Write a chain of so many files and return the first."""
    write(f"{files}.yaml")
    for n in range(files - 1, 0, -1):
        write(f"{n}.yaml", {"extend": f"{n + 1}.yaml"})
    return write("1.yaml", {"extend": "2.yaml"})


def test_a_chain_may_have_eight_files(write):
    assert build(chain(write, extended_build.MOST_FILES)).accepted


def test_a_longer_chain_is_refused(write):
    found = fault(chain(write, extended_build.MOST_FILES + 1))
    assert (found.code, found.field) == ("not-readable", "extend")
    assert "more than 8 files" in found.message
    assert "8.yaml, row 1" in found.message


@pytest.mark.parametrize("files", [1, 2, 3])
def test_a_circle_is_refused(write, files):
    for n in range(files):
        write(f"{n}.yaml", extend=f"{(n + 1) % files}.yaml")
    found = fault(read_path := write("0.yaml", extend=f"{1 % files}.yaml"))
    assert (found.code, found.field, found.row) == ("not-readable", "extend", len(BASE) + 1)
    assert "in a circle" in found.message
    assert read_path.name in found.message


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("nowhere.yaml", "does not exist"),
        ("../nowhere/base.yaml", "does not exist"),
        ("folder.yaml", "does not exist"),
        ("x" * 280 + ".yaml", "does not exist"),
        ('"a\\0b.yaml"', "does not exist"),
        ("sheet.csv", "is not a build file"),
        ("base", "is not a build file"),
        ("..", "is not a build file"),
        ("/etc/base.yaml", "is an absolute path"),
        ("C:\\builds\\base.yaml", "is an absolute path"),
        ("empty.yaml", "has no fields in it"),
        ("remarks.yaml", "has no fields in it"),
        ("two.yaml", "two.yaml, row 2"),
        ("list.yaml", "list.yaml, row 1"),
        ("noise.yaml", "noise.yaml is not text"),
    ],
)
def test_what_cannot_be_extended_is_one_clear_refusal(write, tmp_path, name, said):
    write("sheet.csv")
    (tmp_path / "folder.yaml").mkdir()
    (tmp_path / "empty.yaml").write_text("")
    (tmp_path / "remarks.yaml").write_text("# bore: 4.03 in\n")
    (tmp_path / "two.yaml").write_text("bore: 4.03 in\n---\nbore: 4.06 in\n")
    (tmp_path / "list.yaml").write_text("- bore\n")
    (tmp_path / "noise.yaml").write_bytes(b"\x00\x01\x02\xff")
    found = fault(write("a.yaml", {"extend": name}))
    assert found.code in ("not-readable", "front-matter-unreadable")
    assert found.row == 1
    assert said in found.message


def test_two_bases_are_one_too_many(write, tmp_path):
    write("base.yaml")
    path = tmp_path / "a.yaml"
    path.write_text("extend: base.yaml\nbore: 4 in\nExtend: base.yaml\n")
    assert "given twice, in rows 1 and 3" in fault(path).message
    path.write_text("extend: [base.yaml, base.yaml]\n")
    assert fault(path).code == "front-matter-unreadable"


@pytest.mark.parametrize("marker", ["", "-", "NA"])
def test_to_extend_nothing_is_no_fault(write, marker):
    sheet = build(write("a.yaml", extend=marker))
    assert sheet.findings == []
    assert sheet.values["bore"] == 4.03


def test_a_fault_in_a_value_taken_over_names_its_file_and_is_told_once(write):
    write("base.yaml", bore="99 parrots", stroke="99 in")
    sheet = build(write("a.yaml", {"family": "gannet-eight", "extend": "base.yaml"}))
    assert {(f.code, f.field, f.row) for f in sheet.findings} == {
        ("unknown-unit", "bore", 2),
        ("unit-left-out", "stroke", 2),
    }
    assert all(f"base.yaml, row {4 + (f.field == 'stroke')}: " in f.message for f in sheet.findings)
    mended = {"extend": "base.yaml", "bore": "4.03 in", "stroke": "3.48 in"}
    assert build(write("b.yaml", mended)).findings == []


def test_what_was_read_otherwise_in_another_file_is_told_with_its_name(write):
    write("base.yaml", fuel="petrol", paint="grey")
    write("middle.yaml", {"extend": "base.yaml", "Baro": "29.9"})
    sheet = build(write("a.yaml", {"extend": "middle.yaml"}))
    told = {(f.code, f.message.split(": ")[0].rsplit("/")[-1], f.row) for f in sheet.findings}
    assert told == {
        ("read-as", "base.yaml, row 7", 1),
        ("unknown-field", "base.yaml, row 9", 1),
        ("read-as", "middle.yaml, row 2", 1),
    }


def test_each_file_writes_numbers_in_its_own_way(write):
    """A decimal comma in one file does not turn the points of the other into thousands."""
    write("base.yaml", stroke="3.626 in", airflow="650")
    sheet = build(write("a.yaml", {"extend": "base.yaml", "bore": "99,06 mm", "airflow": "1.250"}))
    assert sheet.values["stroke"] == 3.626
    assert sheet.values["airflow"] == 1250.0
    assert sheet.values["bore"] == pytest.approx(3.9)


@pytest.mark.parametrize("field", FIELDS.values(), ids=lambda field: field.name)
def test_a_value_taken_over_reads_as_itself(field):
    values = {
        Kind.NUMBER: [field.low, field.high, 1 / 3, 1e-7, 123456.789, 88.392 / 25.4],
        Kind.WHOLE: [2, 24],
        Kind.CHOICE: field.choices,
        Kind.FLAG: [True, False],
        Kind.DATE: [1999],
        Kind.TEXT: ["0417", "job #12: a, b", "1e3"],
    }[field.kind]
    for value in values:
        text = extended_build.write_value(
            float(value) if field.kind is Kind.NUMBER else value, field
        )
        for mark in (None, ".", ","):
            assert cells.parse(text, field, mark=mark)[:2] == (value, None)


def test_in_sheets_and_tables_extend_is_a_field_nobody_knows(write, write_sheet, tmp_path):
    write("base.yaml")
    sheet = write_sheet({"extend": "base.yaml"})
    table = tmp_path / "builds.csv"
    table.write_text("sheet_id,bore,stroke,cylinders,extend\na,3.9,3.6,6,base.yaml\n")
    for path in (sheet, table):
        (raw,) = build_files.raw_builds(path)
        assert ("unknown-field", "extend") in {(f.code, f.field) for f in raw.findings}
        assert "muffled" not in raw.fields


def test_a_build_that_extends_nothing_is_read_as_before(write):
    path = write("a.yaml")
    raw = extended_build.read_build(path, PLAIN)
    assert {name: cell.text for name, cell in raw.fields.items()} == BASE
    assert raw.files == (path,)


def test_the_fault_reaches_the_user_as_one_sentence(write):
    path = write("a.yaml", {"extend": "nowhere.yaml"})
    with pytest.raises(ValueError, match="does not exist") as told:
        inputs.one_build(path)
    assert "\n" not in str(told.value)
