"""Names as people write them, numbers with units everywhere, and near misses that are answered."""

import csv
import io
import json

import pytest
from command_line import run

BUILD = """\
sheet_id: {name}
cylinders: 8
bore: 4.03
stroke: 3.48
compression_ratio: 9.6
intake_duration: 218
"""
ODD = "Head “Groß” №2 — 日本 {x} $y^2$ (2.02/1.60) <b>&'q' %s {}"
PARTS = """\
build: {cylinders: 8, bore: 4.03, stroke: 3.48, compression_ratio: 9.4}
parts:
  heads:
    - {name: "Head A (2.02/1.60) 'race' <b> $x^2$ {y}", intake_valve: 51 mm, exhaust_valve: 1.6}
    - {name: "Zylinderkopf “Groß” №2 — 日本, of which much more could be said than fits on a line",
       intake_valve: 1.94}
  camshaft:
    - {name: 210/218, intake_duration: 210, price: 180}
    - {name: =230/238, intake_duration: 300, price: 200}
goal: {mean_torque: 2000:4000}
limits:
  torque: {over: 2500:3500, at_least: 300 N.m}
  intake_valve: {at_most: 60 mm}
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "odd.yaml").write_text(BUILD.format(name=json.dumps(ODD)), encoding="utf-8")
    (tmp_path / "long.yaml").write_text(BUILD.format(name="a/b-" * 60), encoding="utf-8")
    (tmp_path / "parts.yaml").write_text(PARTS, encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize("ending", ["svg", "png"])
@pytest.mark.parametrize("words", [
    ["predict", "odd.yaml"], ["predict", "long.yaml"], ["compare", "odd.yaml", "long.yaml"],
    ["vary", "long.yaml", "--field", "bore=4,4.1"], ["explain", "odd.yaml"],
    ["choose", "parts.yaml"],
])  # fmt: skip
def test_no_name_breaks_a_command_a_page_or_a_picture(folder, words, ending):
    words = [folder / one if one.endswith(".yaml") else one for one in words]
    page, chart = folder / "page.html", folder / f"chart.{ending}"
    done = run(*words, "--html", page, "--plot", chart)
    assert done.returncode == 0, done.stderr
    assert "Warning" not in done.stderr
    assert "<b>" not in page.read_text(encoding="utf-8")
    assert chart.stat().st_size > 10_000


def test_a_name_comes_through_a_table_and_a_saved_answer_as_it_is(folder):
    table, kept = folder / "t.csv", folder / "kept.json"
    run("predict", folder / "odd.yaml", "--csv", table, "--save", kept)
    assert next(csv.DictReader(io.StringIO(table.read_text(encoding="utf-8"))))["build"] == ODD
    assert json.loads(run("predict", kept, "--json").stdout)["sheet_id"] == ODD


def test_a_choice_fits_a_terminal_and_keeps_every_column_and_mark(folder):
    done = run("choose", folder / "parts.yaml", "--units", "metric")
    lines = done.stdout.splitlines()
    assert max(map(len, lines)) <= 80
    assert "…" not in done.stdout
    said = " ".join(done.stdout.split())
    assert "Head A (2.02/1.60) 'race' <b> $x^2$ {y} + 210/218" in said
    outside = lines[lines.index("Outside the data, so none of these is recommended:") :]
    assert sum(line.endswith("  outside") for line in outside) == 2
    assert sum(line.endswith("  inside") for line in lines) == 2
    for head in ("goal, N.m", "limits", "best", "highest kW at rpm", "data"):
        assert any(head in line for line in lines)
    assert "torque from 2500 to 3500 rpm at least 300 N.m" in said
    assert "intake valve at most 60 mm" in said


def test_a_build_and_a_parts_list_taken_for_one_another_are_told_apart(folder):
    done = run("predict", folder / "parts.yaml")
    assert done.returncode == 1
    assert "parts.yaml is a parts list, not a build. Use it with: pullbook choose" in done.stderr
    done = run("choose", folder / "long.yaml")
    assert done.returncode == 2
    assert "is a build, not a parts list. To search around it, add --free camshaft" in done.stderr


@pytest.mark.parametrize(
    ("given", "values"),
    [
        ("bore=102mm,104mm", [4.015748, 4.094488]),
        ("bore=102:104:1 mm", [4.015748, 4.055118, 4.094488]),
        ("stroke=88 mm:90 mm:2 mm", [3.464567, 3.543307]),
        ("airflow=18 m3/min", [635.664]),
        ("intake duration=210:220:10 deg", [210.0, 220.0]),
        ("bore=4,4.1", [4.0, 4.1]),
    ],
)
def test_a_varied_field_takes_units(folder, given, values):
    done = run("vary", folder / "long.yaml", "--field", given, "--json")
    found = [next(iter(one["values"].values())) for one in json.loads(done.stdout)["variants"]]
    assert found == pytest.approx(values, rel=1e-4)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("bore=", "bore is a number from 1 to 9 in, usually about 3.9 in"),
        ("bore=4 kg", "Bore is '4 kg': 'kg' does not convert to in."),
        ("bore=102:104:1", "To give it in mm, write the unit behind the last number."),
        ("intake_duratoin=1,2", "Did you mean intake_duration?"),
        ("displacement=5.7 l,6 l", "displacement follows from the build's bore and stroke"),
    ],
)
def test_what_cannot_be_varied_is_answered_at_the_field(folder, given, said):
    done = run("vary", folder / "long.yaml", "--field", given)
    assert done.returncode == 2
    assert said in " ".join(done.stderr.split())


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("intake_type: tunel ram", "Did you mean tunnel ram?"),
        ("octane: 95 RON", "AKI is (R+M)/2, for pump petrol about 4 to 5 below RON."),
        ("stroke: 88,4 mm", "'88,4 mm' was read as 88.4 mm."),
        ("intake_lift: 470 mm", "is 470 mm, which is out of range. Write a number from 2.54 mm to"),
        ("boost: 8", "but the engine is naturally aspirated"),
        (
            "displacement: 7 l",
            "is 7 l, but bore, stroke and 8 cylinders make 5.819 l.",
        ),
    ],
)
def test_what_is_wrong_with_a_build_is_said_at_the_field(tmp_path, line, said):
    path = tmp_path / "b.yaml"
    kept = [one for one in BUILD.splitlines() if not line.startswith(one.split(":")[0] + ":")]
    path.write_text("\n".join([*kept, line, ""]).format(name="b"))
    assert said in " ".join(run("predict", path).stderr.split())


def test_no_boost_on_a_natural_engine_says_nothing(tmp_path):
    path = tmp_path / "b.yaml"
    path.write_text(BUILD.format(name="b") + "boost: 0 psi\naspiration: natural\n")
    found = json.loads(run("predict", path, "--json").stdout)
    assert (found["standing"], found["reasons"]) == ("inside", [])


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("intake_valve: {at", "intake_vale: {at", "Did you mean intake_valve?"),
        ("limits:", "limit:", "Did you mean limits?"),
        ("mean_torque: 2", "mean_torqe: 2", "Did you mean mean_torque?"),
        ("300 N.m", "300 mm", "Torque is '300 mm': 'mm' does not convert to lb-ft."),
    ],
)
def test_what_is_wrong_in_a_parts_list_is_answered_where_it_stands(folder, old, new, said):
    (folder / "parts.yaml").write_text(PARTS.replace(old, new), encoding="utf-8")
    done = run("choose", folder / "parts.yaml")
    assert done.returncode == 2
    assert said in " ".join(done.stderr.split())


def test_the_metric_template_is_metric_and_answers(tmp_path):
    done = run("template", "--units", "metric")
    fields = [line for line in done.stdout.splitlines() if ": " in line]
    assert not [one for one in fields if one.endswith((" in", " cfm", " psi"))]
    assert "bore: 99.06 mm" in done.stdout
    assert "a number from 25.4 to 229 mm" in done.stdout
    path = tmp_path / "t.yaml"
    path.write_text(done.stdout)
    assert run("predict", path, "--units", "metric").returncode == 0
