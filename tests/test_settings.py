"""What a shop says once: heeded by every command that reads sheets, and never in silence."""

import json
import re

import jsonschema
import pytest
from command_line import run
from valid_sheet import PULL, sheet_text

from pullbook.pipeline.builds import build_files
from pullbook.pipeline.checks import check_sheet, checked_sheets
from pullbook.pipeline.settings import settings_schema, shop_settings
from pullbook.pipeline.settings.shop_settings import SettingsError

SETTINGS = """\
shop: Tern Quay Marine
correction: SAE J607
units: {torque: N.m}
headings:
  Bohrung: bore (mm)
  Lambda:
words:
  intake_type: {2-plane: dual plane}
ignore:
  columns: [EGT 1]
  rows: [AVG]
families:
  petrel-six: {also: [P6, petrel 6], bore: 3.9 in, stroke: 92.1 mm, rod_length: 6.0 in}
engines:
  "Lugworm, port": [LUGWORM P]
never_share: [Harbour Road]
"""


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "sheets"
    made.mkdir()
    (made / shop_settings.FILE).write_text(SETTINGS)
    return made


def sheet(folder, fields, pull=None, name="a.csv"):
    """Return the one sheet of a folder, read and checked."""
    (folder / name).write_text(sheet_text(fields, pull))
    return checked_sheets.read([folder], check_sheet.SHEET_RULES).sheets[0]


def said(found, code):
    return {f.field: f.message for f in found.findings if f.code == code}


def test_what_a_sheet_lacks_is_taken_and_noted(folder):
    lacking = {"shop": "", "correction": "", "bore": "", "stroke": "", "family": "petrel-six"}
    found = sheet(folder, lacking)
    assert found.accepted, found.findings
    assert found.values["shop"] == "Tern Quay Marine"
    assert found.values["correction"] == "SAE J607"
    assert found.values["bore"] == pytest.approx(3.9)
    assert found.values["stroke"] == pytest.approx(92.1 / 25.4)
    assert found.values["rod_length"] == pytest.approx(6.0)
    assert set(said(found, "from-settings")) == {
        "shop", "correction", "bore", "stroke", "rod_length"
    }  # fmt: skip


def test_a_sheet_that_says_otherwise_counts_and_is_warned_of(folder):
    found = sheet(folder, {"bore": "4.1 in", "shop": "Otter Weir"})
    assert found.values["bore"] == pytest.approx(4.1)
    assert found.values["correction"] == "observed"
    assert set(said(found, "not-as-in-settings")) == {"shop", "correction", "bore"}
    bored = sheet(folder, {"bore": "3.93 in", "correction": "SAE J607"})
    assert not said(bored, "not-as-in-settings")


def test_own_words_families_and_engines_are_understood(folder):
    found = sheet(
        folder, {"intake_type": "2-plane", "family": "P6", "engine": "lugworm p", "bore": "",
                 "Bohrung": "99.06"},
    )  # fmt: skip
    assert found.values["intake_type"] == "dual plane"
    assert found.values["family"] == "petrel-six"
    assert found.values["engine"] == "Lugworm, port"
    assert found.values["bore"] == pytest.approx(3.9)
    assert {"intake_type", "family", "engine"} <= set(said(found, "from-settings"))


def test_columns_and_rows_are_ignored_and_a_bare_column_has_its_unit(folder):
    pull = [("rpm", "torque", "EGT 1"), *((r, t, "700") for r, t, _ in PULL[1:]),
            ("AVG", "341.3", "700")]  # fmt: skip
    found = sheet(folder, {}, pull)
    assert found.accepted, found.findings
    assert len(found.readings) == len(PULL) - 1
    assert found.readings[0].torque == pytest.approx(345.2 / 1.3558179483)
    assert not said(found, "unknown-column")
    assert "torque" in said(found, "from-settings")


def test_words_of_the_house_never_leave_it(folder, tmp_path):
    (folder / "a.csv").write_text(sheet_text({"sheet_id": "harbour-road 12", "family": "P6"}))
    done = run("contribute", folder, "--into", tmp_path / "out", "--key-file", tmp_path / "key")
    assert done.returncode == 0, done.stderr
    (path,) = (tmp_path / "out" / "accepted").iterdir()
    assert "harbour" not in path.read_text().casefold()
    assert '"petrel-six"' in path.read_text()


def test_every_command_that_reads_sheets_heeds_them(folder, tmp_path, demo):
    lacking = {"shop": "", "correction": "", "air_temperature": "", "barometer": ""}
    (folder / "a.csv").write_text(sheet_text(lacking))
    key = ("--key-file", tmp_path / "key")
    assert run("check", folder).returncode == 0
    assert run("check", folder / "a.csv").returncode == 0
    assert run("contribute", folder, "--into", tmp_path / "out", *key).returncode == 0
    assert run("curate", folder, "--own", "--out", tmp_path / "cur", *key).returncode == 0
    against = run("against", folder / "a.csv", "--bundle", demo.bundle)
    assert against.returncode == 0, against.stderr
    (folder / "b.yaml").write_text("family: P6\ncylinders: 6\n")
    asked = run("predict", folder / "b.yaml", "--bundle", demo.bundle, "--json", *key)
    assert asked.returncode == 0, asked.stderr
    elsewhere = tmp_path / "elsewhere.yaml"
    elsewhere.write_text(SETTINGS)
    (folder / shop_settings.FILE).unlink()
    assert run("check", folder).returncode == 1
    assert run("check", folder, "--settings", elsewhere).returncode == 0


def test_a_build_is_given_no_correction_for_it_was_not_tested(folder):
    (folder / "b.yaml").write_text("family: P6\ncylinders: 6\n")
    (build,) = build_files.read(folder / "b.yaml")
    assert build.values["bore"] == pytest.approx(3.9)
    assert "correction" not in build.values


def test_settings_of_a_folder_above_are_heeded_but_not_beyond_what_is_asked(folder):
    (folder / "deep").mkdir()
    (folder / "deep" / "a.csv").write_text(sheet_text({"shop": ""}))
    (found,) = checked_sheets.read([folder], check_sheet.SHEET_RULES).sheets
    assert found.values["shop"] == "Tern Quay Marine"
    (alone,) = checked_sheets.read([folder / "deep"], check_sheet.SHEET_RULES).sheets
    assert "shop" not in alone.values


def test_contributed_sheets_heed_no_settings(folder, tmp_path):
    """Or a stranger could change what signed sheets say by a file beside them."""
    (folder / "a.csv").write_text(sheet_text())
    run("contribute", folder, "--into", tmp_path / "out", "--key-file", tmp_path / "key")
    (tmp_path / "out" / "accepted" / shop_settings.FILE).write_text(
        "words: {intake_type: {dual plane: tunnel ram}}\n"
    )
    assert run("curate", tmp_path / "out", "--out", tmp_path / "cur", "--fresh").returncode == 0


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("shopp: x\nunits: {}", "'shopp' is no setting. Did you mean shop"),
        ("headings: {Bohrung: boer}", "which is no field of a sheet"),
        ("words: {intake: {a: b}}", "'intake' is no field of a sheet"),
        ("units: {rpm: Hz}", "units"),
        ("families: {petrel-six: {colour: red}}", "petrel-six"),
        ("ignore: [a]", "ignore"),
        ("shop: [a]", "shop"),
        ("- a\n- b", "no settings"),
        ("shop: 'x", "row"),
    ],
)
def test_what_is_no_setting_is_said_with_its_place(tmp_path, text, what):
    path = tmp_path / "s.yaml"
    path.write_text(text)
    with pytest.raises(SettingsError, match=what) as raised:
        shop_settings.load(path)
    assert str(path) in str(raised.value)


def test_the_schema_is_one_and_takes_what_the_reader_takes(tmp_path):
    schema = settings_schema.schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    printed = json.loads(run("settings", tmp_path, "--schema").stdout)
    assert printed == schema


def test_a_draft_of_what_is_there_is_in_order_and_is_not_written_over(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    for number in range(4):
        fields = {"sheet_id": f"s{number}", "engine": f"E{number % 2}", "Zylinderweite": "99"}
        (folder / f"{number}.csv").write_text(sheet_text(fields))
    done = run("settings", folder, "--new")
    assert done.returncode == 0, done.stderr
    text = (folder / shop_settings.FILE).read_text()
    for wanted in ('shop: "Tern Quay Marine"', '"petrel-six":', '"E0": []', '"Zylinderweite":',
                   '#bore: "3.9 in"', "#never_share"):  # fmt: skip
        assert wanted in text
    assert run("check", folder).returncode == 0
    assert "Headings without a meaning: 1" in run("settings", folder).stdout
    examples = [line[1:] for line in text.splitlines() if re.match(r"#\w+: ", line)]
    (folder / "examples.yaml").write_text("\n".join(examples))
    assert len(examples) >= 3
    shop_settings.load(folder / "examples.yaml")
    again = run("settings", folder, "--new")
    assert again.returncode == 2
    assert "not written over" in again.stderr


def test_an_older_file_of_headings_is_read_and_turned_into_settings(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    (folder / "a.csv").write_text(sheet_text({"bore": "", "Zylinderweite": "99.06"}))
    old = tmp_path / "ours.yaml"
    old.write_text("# ours\nZylinderweite: bore (mm)\nDrehzahl: ''\n")
    assert run("check", folder).returncode == 1
    assert run("check", folder, "--settings", old).returncode == 0
    done = run("settings", folder, "--new", "--headings", old)
    assert done.returncode == 0, done.stderr
    assert run("check", folder).returncode == 0
