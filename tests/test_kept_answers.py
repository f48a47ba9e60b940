"""Answers as a table for a spreadsheet, and saved answers that are asked and compared again."""

import csv
import io
import json

import pytest
from command_line import run

BUILDS = """\
sheet_id,cylinders,bore,stroke,compression_ratio,intake_duration
{name},8,4.03,3.25,9.4,214
long,8,102 mm,3.75,9.4,214
bad,8,,,9.4,214
"""


@pytest.fixture
def builds(tmp_path):
    path = tmp_path / "builds.csv"
    path.write_text(BUILDS.format(name="short"))
    return path


def test_a_table_has_a_row_for_each_build_and_speed_with_plain_numbers(builds, tmp_path):
    table = tmp_path / "t.csv"
    asked = ["predict", builds, "--rpm", "2000:6500:1500"]
    assert run(*asked, "--csv", table, "--units", "metric").returncode == 1  # one is bad
    rows = list(csv.DictReader(io.StringIO(table.read_text(encoding="utf-8"))))
    assert list(rows[0])[:6] == [
        "build", "data", "rpm", "torque (N.m)", "torque low (N.m)", "torque high (N.m)"
    ]  # fmt: skip
    assert [row["build"] for row in rows] == ["short"] * 4 + ["long"] * 4 + ["bad"]
    found = [json.loads(line) for line in run(*asked, "--json").stdout.splitlines()]
    for row, point in zip(rows, [p for one in found[:2] for p in one["curve"]], strict=False):
        assert float(row["rpm"]) == point["rpm"]
        if not point["supported"]:
            assert (row["torque (N.m)"], row["note"][:7]) == ("", "too few")
            continue
        assert float(row["torque (N.m)"]) == pytest.approx(point["torque"] * 1.35582, abs=0.06)
        assert float(row["power high (kW)"]) == pytest.approx(
            point["power_high"] * 0.7457, abs=0.06
        )
        assert row["correction"] == "SAE J1349"
    assert rows[-1]["note"].startswith("The size of the engine is missing.")
    assert rows[-1]["torque (N.m)"] == ""


@pytest.mark.parametrize("name", ["=1+1", "+cmd", "-2+3", "@sum", " =1"])
def test_a_name_like_a_formula_is_a_text_to_a_spreadsheet(tmp_path, name):
    path, table = tmp_path / "one.yaml", tmp_path / "t.csv"
    path.write_text(f"sheet_id: '{name}'\ncylinders: 8\nbore: 4.03\nstroke: 3.25\n")
    assert run("predict", path, "--csv", table).returncode == 0
    first = list(csv.reader(io.StringIO(table.read_text(encoding="utf-8"))))[1]
    assert first[0].startswith("'")
    assert name.strip() in first[0]


def test_a_saved_answer_is_what_json_has_with_its_build_and_day(builds, tmp_path):
    kept = tmp_path / "kept.json"
    run("predict", builds, "--save", kept)
    found = json.loads(kept.read_text(encoding="utf-8"))
    assert len(found["saved_on"]) == 10
    first = found["answers"][0]
    assert first["build"]["stroke"] == 3.25
    assert first["answer"] == json.loads(run("predict", builds, "--json").stdout.splitlines()[0])
    assert first["answer"]["bundle"]["id"]
    assert found["answers"][2]["answer"] is None
    again = run("predict", kept, "--json").stdout
    assert again == run("predict", builds, "--json").stdout


def test_a_saved_answer_asked_again_says_what_has_changed(tmp_path):
    path, kept = tmp_path / "launch.yaml", tmp_path / "kept.json"
    path.write_text("sheet_id: launch\ncylinders: 8\nbore: 4.03\nstroke: 3.25\n")
    run("predict", path, "--save", kept, "--correction", "J607")
    said = " ".join(run("predict", kept).stdout.split())
    assert "; the same model answers now: nothing has changed." in said
    found = json.loads(kept.read_text(encoding="utf-8"))
    answer = found["answers"][0]["answer"]
    old = answer["bundle"]["id"]
    answer["bundle"]["id"] = "f" * 16
    answer["standing"] = "edge"
    point = next(one for one in answer["curve"] if one["rpm"] == 3000)
    point["torque"] *= 0.9
    kept.write_text(json.dumps(found), encoding="utf-8")
    said = " ".join(run("predict", kept).stdout.split())
    assert (
        f"with model {'f' * 16}; model {old} answers now: torque has changed most at 3000" in said
    )
    assert "(+11 %)" in said
    assert "the build was at the edge of the data and is inside the data." in said
    done = run("compare", kept, path)
    assert "A minus B 0 lb-ft" in done.stdout
    assert "No difference: the two are the same" in done.stdout
    assert "What makes the difference" not in done.stdout
    assert done.returncode == 0


@pytest.mark.parametrize("text", ["{}", "[]", "no JSON", '{"answers": 3}', "[" * 100_000])
def test_what_is_no_saved_answer_says_so(tmp_path, text):
    path = tmp_path / "odd.json"
    path.write_text(text)
    done = run("predict", path)
    assert done.returncode == 2
    assert "holds no saved answers; write them with pullbook predict --save" in done.stderr
