"""What a check asks of a shop, and how its settings file answers, never in silence."""

import json
import re

import pytest
from browser import needs_browser, running
from command_line import run
from valid_sheet import FIELDS, PULL, sheet_text

from pullbook.pipeline.checks import check_sheet, checked_sheets, decisions, standing_out
from pullbook.pipeline.curation.curate import curate
from pullbook.pipeline.curation.read_own import OwnReader
from pullbook.pipeline.settings import add_setting, shop_settings
from pullbook.pipeline.settings.shop_settings import SettingsError
from pullbook.pipeline.values.settled import Settled
from pullbook.schemas.severity import Severity

BARE = [("rpm", "torque"), *((r, t) for r, t, _ in PULL[1:])]


def read(folder):
    return checked_sheets.read([folder], check_sheet.SHEET_RULES).sheets


@pytest.fixture
def folder(tmp_path):
    inside = tmp_path / "in"
    inside.mkdir()
    return inside


def put(folder, name="a", fields=None, pull=None):
    (folder / f"{name}.csv").write_text(sheet_text({"sheet_id": name, **(fields or {})}, pull))


ASKED = [
    ({}, BARE, "units: {torque: N.m}"),
    ({"correction": ""}, None, "correction: observed"),
    ({"intake_type": "DP2"}, None, 'words: {intake_type: {"DP2": dual plane}}'),
    ({"aspiration": "pumped"}, None, 'words: {aspiration: {"pumped": natural}}'),
    ({"bore": ".030 over"}, None, 'families: {"petrel-six": {bore: 3.87 in}}'),
    ({}, [("rpm", "Run 1"), *BARE[1:]], 'headings: {"Run 1": torque 1 (N.m)}'),
]


@pytest.mark.parametrize(("fields", "pull", "line"), ASKED)
def test_every_question_names_lines_that_answer_it(folder, fields, pull, line):
    """The command adds a line; then the sheet is read, and the question is gone."""
    put(folder, "a", fields, pull)
    (asked,) = decisions.questions(read(folder))
    for one in asked.lines:  # each of them is a setting that is understood
        add_setting.add(folder / "try.yaml", [one])
    done = run("settings", folder, "--add", line)
    assert done.returncode == 0, done.stderr
    assert asked.text not in done.stdout
    (sheet,) = read(folder)
    assert sheet.accepted, sheet.findings
    assert decisions.questions([sheet]) == []


def test_runs_with_other_remarks_wait_for_the_shop(folder):
    rows = [("rpm", "torque (N.m)", "run", "remark")]
    rows += [(r, t, run, "new cam" if run == "2" else "") for run in "12" for r, t, _ in PULL[1:]]
    put(folder, "a", None, rows)
    assert not read(folder)[0].accepted
    add_setting.add(folder / shop_settings.FILE, ["sheets: {a: {runs: of one build}}"])
    assert read(folder)[0].accepted


def test_a_sheet_is_amended_and_its_file_left_alone(folder):
    put(folder, "a", {"octane": "?", "timing": "34"})
    before = (folder / "a.csv").read_bytes()
    add_setting.add(folder / shop_settings.FILE, ["sheets: {a: {octane: 93, timing: 36}}"])
    (sheet,) = read(folder)
    assert (sheet.values["octane"], sheet.values["timing"]) == (93, 36)
    assert sheet.settled["octane"] is Settled.SETTINGS
    said = [f.message for f in sheet.findings if f.code == "from-settings"]
    assert len(said) == 2
    assert any("'34'" in message for message in said)
    assert (folder / "a.csv").read_bytes() == before


def test_adding_keeps_what_stands_in_the_file(folder):
    path = folder / shop_settings.FILE
    path.write_text("# ours\nshop: Tern Quay Marine # the yard\nunits:\n  power: PS\n")
    add_setting.add(path, ["units: {torque: N.m}", "ignore: {columns: [Lambda]}"])
    add_setting.add(path, ["ignore: {columns: [Lambda, EGT]}"])
    text = path.read_text()
    assert "# ours" in text
    assert "# the yard" in text
    found = shop_settings.load(path)
    assert dict(found.units) == {"power": "PS", "torque": "N.m"}
    assert found.ignored_columns == {"lambda", "egt"}


@pytest.mark.parametrize("line", ["paint: grey", "units: {torque: N.m", "- a", "", "words: dual"])
def test_a_line_that_is_no_setting_changes_nothing(folder, line):
    path = folder / shop_settings.FILE
    path.write_text("shop: Tern Quay Marine\n")
    with pytest.raises(SettingsError):
        add_setting.add(path, [line])
    assert path.read_text() == "shop: Tern Quay Marine\n"
    shown = [p.name for p in folder.iterdir() if not p.name.startswith(".")]
    assert shown == [shop_settings.FILE]


def test_what_torque_and_power_prove_comes_before_the_settings(folder):
    """A unit told for bare columns does no harm to sheets that prove another."""
    (folder / shop_settings.FILE).write_text("units: {torque: N.m}\n")
    inches = {"bore": "3.9", "stroke": "3.626"}
    feet = [("rpm", "torque", "power")]
    feet += [(r, f"{float(t) / 1.3558:.1f}", f"{float(p) / 0.7457:.1f}") for r, t, p in PULL[1:]]
    put(folder, "feet", inches, feet)
    put(folder, "bare", inches, BARE)
    bare, feet_read = sorted(read(folder), key=lambda sheet: sheet.sheet_id)
    assert bare.readings[0].torque == pytest.approx(345.2 / 1.3558, rel=1e-3)
    assert feet_read.readings[0].torque == pytest.approx(345.2 / 1.3558, rel=1e-3)
    assert "not-as-in-settings" in {f.code for f in feet_read.findings}
    assert bare.settled["torque"] is Settled.SETTINGS
    assert feet_read.settled["torque"] is Settled.PROVEN


def test_nothing_assumed_passes_without_a_warning(folder):
    """Whatever the reader assumed has a warning that names the field."""
    put(folder, "a", {"barometer": "752", "correction": "SAE", "tested_on": "31.5.24",
                      "octane": "~93", "stroke": "92.1 mm"})  # fmt: skip
    (sheet,) = read(folder)
    assumed = {name for name, how in sheet.settled.items() if how is Settled.ASSUMED}
    assert assumed == {"barometer", "correction", "tested_on", "octane"}
    warned = {f.field for f in sheet.findings if f.severity is Severity.WARN}
    assert assumed <= warned


def test_a_check_counts_what_is_to_be_done(folder):
    put(folder, "fine")
    put(folder, "ask", {"correction": ""})
    put(folder, "mend", {"compression_ratio": "94"})
    (folder / "noise.csv").write_bytes(b"\x00\xff\x00")
    done = run("check", folder)
    assert "4 sheets: 1 accepted, 3 rejected" in done.stdout
    assert ("Of the rejected: 1 for you to decide, 1 to correct on the sheet, 1 that cannot be"
            " read") in done.stdout  # fmt: skip
    assert "correction: SAE J607" in done.stdout
    told = json.loads(run("check", folder, "--json").stdout)
    asked = [f for s in told["sheets"] for f in s["findings"] if "decision" in f]
    assert [f["decision"]["settings"][0] for f in asked] == ["correction: observed"]


def test_a_pull_in_a_wrong_unit_stands_out(folder, tmp_path):
    for number in range(6):
        pull = [("rpm", "torque (N.m)"), *((r, f"{float(t) + number}") for r, t, _ in PULL[1:])]
        put(folder, f"s{number}", None, pull)
    wrong = [("rpm", "torque (N.m)"), *((r, f"{float(t) * 0.7376:.1f}") for r, t, _ in PULL[1:])]
    put(folder, "wrong", None, wrong)
    laid = standing_out.lay_over(read(folder))
    assert {one.sheet_id: round(one.off, 2) for one in laid if one.off} == {"wrong": -0.27}
    page, chart = tmp_path / "check.html", tmp_path / "check.png"
    assert run("check", folder, "--html", page, "--plot", chart).returncode == 0
    assert chart.stat().st_size > 10_000
    assert "wrong (-27 %)" in page.read_text()


COUNT = "() => [...document.querySelectorAll('article')].filter(a => a.offsetParent).length"


@needs_browser
@pytest.mark.parametrize(("button", "shown"), [("f0", 2), ("f1", 1)])
def test_the_page_of_a_check_filters_without_a_script(folder, tmp_path, button, shown):
    put(folder, "fine", {"notes": "<script>alert(1)</script>"})
    put(folder, "b<i>k", {"correction": ""})
    page = tmp_path / "check.html"
    run("check", folder, "--html", page)
    text = page.read_text()
    assert "<script" not in text
    assert "<i>" not in text
    names = re.findall(r'id="f\d+"[^>]*> ([^<]+)</label>', text)
    assert names[:2] == ["all (2)", "needs a decision (1)"]
    with running() as browser:
        view = browser.new_page()
        view.goto(page.as_uri())
        view.locator(f"label:has(#{button})").click()
        assert view.evaluate(COUNT) == shown


def test_fields_of_the_valid_sheet_are_settled_as_written(folder):
    put(folder, "a")
    (sheet,) = read(folder)
    assert {sheet.settled[name] for name in FIELDS if name != "sheet_id"} == {Settled.WRITTEN}
    assert sheet.settled["torque"] is Settled.HEADING


ELEVATED = {"elevation": "2440 m", "barometer": "", "correction": "SAE J1349"}


@pytest.mark.parametrize(
    ("others", "read_as", "code"),
    [
        ({}, 29.606, "unit-assumed"),
        ({"barometer": "756 mmHg"}, 29.606, "unit-explained"),
        ({"barometer": "745 hPa"}, 22.207, "unit-explained"),
        ({**ELEVATED}, 22.207, "unit-explained"),
        ({**ELEVATED, "shop": "Heron Locks"}, 29.606, "unit-assumed"),
        ({"barometer": "752"}, 29.606, "unit-assumed"),
    ],
)
def test_a_bare_barometer_is_settled_by_the_shops_other_sheets(folder, others, read_as, code):
    """The standard atmosphere (ISO 2533, from memory) has 22.2 inHg at 2440 m."""
    put(folder, "a", {"barometer": "752"})
    put(folder, "b", {"intake_duration": 230, **(others or {"barometer": ""})})
    sheet = next(one for one in read(folder) if one.sheet_id == "a")
    assert sheet.values["barometer"] == pytest.approx(read_as, abs=0.001)
    found = next(f for f in sheet.findings if f.field == "barometer" and "no unit" in f.message)
    assert found.code == code
    own = OwnReader((folder,))
    curated = curate([folder], own=own).builds.set_index("sheet_id")
    assert curated.loc["a", "barometer"] == pytest.approx(read_as, abs=0.001)


def test_sheets_of_a_shop_that_moved_settle_nothing(folder):
    put(folder, "a", {"barometer": "752"})
    put(folder, "b", {"barometer": "756 mmHg", "bore": 3.8})
    put(folder, "c", {"barometer": "745 hPa", "bore": 3.7})
    sheet = next(one for one in read(folder) if one.sheet_id == "a")
    assert sheet.settled["barometer"] is Settled.ASSUMED
