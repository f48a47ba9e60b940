"""The template and the schema of a build: sound as they stand, and of one mind with the reader."""

import json
import re
from pathlib import Path

import command_line
import jsonschema
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from pullbook.pipeline.builds import build_files, build_template, json_schema
from pullbook.pipeline.checks import check_sheet
from pullbook.pipeline.reading import parse_sheet
from pullbook.pipeline.values import cells
from pullbook.pipeline.vocabulary import words
from pullbook.schemas.field import Kind, Role
from pullbook.schemas.fields import BUILD_FIELDS, FIELDS

ROOT = Path(__file__).parents[1]
TEXT = build_template.text()
LINES = TEXT.splitlines()
#: Lines that hold a field which is not taken in.
SPARE = [at for at, line in enumerate(LINES) if re.match(r"#\s*\w+:", line)]
SCHEMA = json_schema.schema()
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
NEEDED = {"cylinders": 6, "bore": 3.9, "stroke": "95.25 mm"}


class Editor(yaml.SafeLoader):
    """Reads YAML as editors do: a date is a text."""


Editor.yaml_implicit_resolvers = {
    letter: [pair for pair in pairs if not pair[0].endswith("timestamp")]
    for letter, pairs in yaml.SafeLoader.yaml_implicit_resolvers.items()
}


def as_edited(text):
    return yaml.load(text, Loader=Editor)  # noqa: S506 - a safe loader, with less in it


def taken_in(places):
    """Return the template with the # taken away from some lines."""
    return "\n".join(line.lstrip("#") if at in places else line for at, line in enumerate(LINES))


def build(folder, text):
    """Read and judge a build as a question is."""
    path = folder / "build.yaml"
    path.write_text(text, encoding="utf-8")
    (raw,) = build_files.raw_builds(path)
    return check_sheet.judge(parse_sheet.typed(raw), check_sheet.BUILD_RULES)


def findings(sheet):
    """Return what was found, but that answers do not start from a measured sheet yet."""
    return [found for found in sheet.findings if found.code != "measured-not-used"]


def run(*words):
    return command_line.run("template", *words, env={"COLUMNS": "200"})


def test_the_template_is_a_build_as_it_stands(tmp_path):
    sheet = build(tmp_path, TEXT)
    assert sheet.findings == []
    assert set(sheet.given) == {"sheet_id", "cylinders", "bore", "stroke"}
    assert "invented" in LINES[0]


def test_every_field_that_bears_on_an_answer_is_in_it():
    wanted = {"shop", "family", "sheet_id", "engine", "measured", *BUILD_FIELDS}
    wanted |= {"water_pump", "accessories", "dyno"}
    assert set(build_template.EXAMPLES) == wanted
    names = {LINES[at].lstrip("#").split(":")[0] for at in SPARE}
    assert names == wanted - {"cylinders", "bore", "stroke"}
    assert all(FIELDS[name].role is not Role.BUILD for name in set(FIELDS) - wanted)


@pytest.mark.parametrize("name", list(build_template.EXAMPLES))
def test_a_comment_says_what_a_field_is_and_takes(name):
    said = " ".join(TEXT.replace("\n#   ", " ").split())
    assert f"# {build_template.describe(name)} " in said
    assert FIELDS[name].allowed in build_template.describe(name)


@pytest.mark.parametrize("at", SPARE, ids=lambda at: LINES[at].split(":")[0])
def test_a_line_taken_in_is_read_without_a_word(tmp_path, at):
    sheet = build(tmp_path, taken_in({at}))
    name, value = LINES[at].lstrip("#").split(": ")
    assert findings(sheet) == []
    expected = cells.parse(value, FIELDS[name]).value
    assert sheet.values[name] == expected
    assert expected is not None


@settings(max_examples=150, deadline=None)
@given(places=st.sets(st.sampled_from(SPARE)))
def test_any_lines_taken_in_are_read_without_a_word(tmp_path_factory, places):
    sheet = build(tmp_path_factory.mktemp("any"), taken_in(places))
    assert findings(sheet) == []


def test_all_lines_taken_in_are_read_without_a_word(tmp_path):
    sheet = build(tmp_path, taken_in(set(SPARE)))
    assert findings(sheet) == []
    assert set(sheet.values) == set(build_template.EXAMPLES)


def test_the_schema_is_one_and_fetches_nothing():
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    text = json.dumps(SCHEMA)
    assert re.findall(r"\w+://[^\"]*", text) == [json_schema.DIALECT]
    assert text.count("$schema") == 1
    assert set(SCHEMA["properties"]) == {"extend", *FIELDS}


@pytest.mark.parametrize(
    "text",
    [TEXT, taken_in(set(SPARE)), (ROOT / "data" / "examples" / "question.yaml").read_text()],
    ids=["template", "all", "question"],
)
def test_the_schema_takes_sound_builds(text):
    VALIDATOR.validate(as_edited(text))


SOUND = [
    {"bore": None, "stroke": None, "displacement": "4.4 l"},
    {"bore": "NA", "displacement": 269},
    {"measured": "as-it-was.csv", "bore": None, "stroke": None},
    {"bore": "99,06 mm"},
    {"bore": '3.9"'},
    {"primary_diameter": "1 5/8"},
    {"primary_diameter": "1-5/8 in"},
    {"airflow": "1 250"},
    {"compression_ratio": "9.4:1"},
    {"air_temperature": "-4 \u00b0C"},
    {"cylinders": "6"},
    {"cylinders": 6.0},
    {"intake_type": "Dual_Plane"},
    {"lifter": "OVERHEAD-CAM"},
    {"fuel": "Petrol"},
    {"aspiration": "naturally aspirated"},
    {"muffled": True},
    {"muffled": "no"},
    {"muffled": 0},
    {"muffled": "None"},
    {"tested_on": "2024-05-31"},
    {"tested_on": 2024},
    {"family": 302},
    {"octane": None},
    {"octane": " n/A "},
    {"octane": "?"},
    {"aspiration": "turbocharged", "boost": 7},
    {"extend": None},
    {"paint": "grey"},
    {"bore (mm)": 99},
]


@pytest.mark.parametrize("fields", SOUND, ids=str)
def test_the_schema_takes_what_the_reader_takes(tmp_path, fields):
    VALIDATOR.validate({**NEEDED, **fields})
    if "bore (mm)" not in fields:  # the reader would have it once
        sheet = build(tmp_path, written({**NEEDED, **fields}))
        assert sheet.accepted, sheet.findings


def written(fields):
    return "\n".join(f"{name}: {'' if v is None else v}" for name, v in fields.items())


WRONG = [
    {"bore": 99},
    {"bore": "wide"},
    {"bore": None},
    {"bore": "NA"},
    {"bore": [3.9, 4.0]},
    {"bore": True},
    {"octane": "3.9 !"},
    {"cylinders": 6.5},
    {"cylinders": "several"},
    {"cylinders": 0},
    {"intake_type": "double"},
    {"intake_type": 2},
    {"lifter": {"kind": "roller"}},
    {"muffled": "perhaps"},
    {"muffled": 2},
    {"tested_on": "31.31.2024"},
    {"tested_on": 24},
    {"aspiration": "turbocharged"},
    {"paint": ["grey"]},
    {"extend": "base.csv"},
    {"extend": "/builds/base.yaml"},
    {"extend": "C:/builds/base.yaml"},
    {"extend": 3},
]


@pytest.mark.parametrize("fields", WRONG, ids=str)
def test_the_schema_refuses_what_the_reader_refuses(tmp_path, fields):
    found = {**NEEDED, **fields}
    assert not VALIDATOR.is_valid(found)
    assert not build(tmp_path, written(found)).accepted


@pytest.mark.parametrize("name", build_template.REQUIRED)
def test_what_is_required_may_come_from_another_build(name):
    rest = {field: value for field, value in NEEDED.items() if field != name}
    assert not VALIDATOR.is_valid(rest)
    assert not VALIDATOR.is_valid({**rest, "extend": None})
    assert not VALIDATOR.is_valid({**rest, "extend": "-"})
    assert VALIDATOR.is_valid({**rest, "extend": "../other.yaml"})
    assert VALIDATOR.is_valid({"extend": "base.yml", "aspiration": "turbocharged"})


def test_a_list_is_no_build():
    assert not VALIDATOR.is_valid([NEEDED])


@given(data=st.data())
def test_schema_and_reader_agree_on_choices_and_blanks(data):
    """What the schema says of any text of a choice or a yes or no is what the reader says."""
    kinds = (Kind.CHOICE, Kind.FLAG)
    optional = [f for f in FIELDS.values() if f.kind in kinds and not f.required]
    field = data.draw(st.sampled_from(optional))
    listed = [*field.choices, *words.CUSTOMARY.get(field.name, {}), *words.FLAGS, *words.MISSING]
    word = data.draw(st.sampled_from(listed))
    change = data.draw(st.sampled_from([str, str.upper, str.title, lambda w: w.replace(" ", "_")]))
    text = data.draw(st.sampled_from(["", " "])) + change(word)
    rule = {**SCHEMA["properties"][field.name], "$defs": SCHEMA["$defs"]}
    try:
        cells.parse(text, field)
        taken = True
    except cells.CellError:
        taken = False
    assert jsonschema.Draft202012Validator(rule).is_valid(text) == taken


def test_the_command_prints_the_template_and_the_schema():
    printed = run()
    assert (printed.returncode, printed.stdout, printed.stderr) == (0, TEXT, "")
    schema = run("--schema")
    assert (schema.returncode, schema.stderr) == (0, "")
    assert json.loads(schema.stdout) == SCHEMA


def test_the_command_writes_a_new_file_and_leaves_an_old_one(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for options, name in (([], "mine.yaml"), (["--schema"], "build.json")):
        done = run(*options, "--out", name)
        assert (done.returncode, done.stdout) == (0, "")
        assert name in done.stderr
    assert (tmp_path / "mine.yaml").read_bytes().decode() == TEXT
    assert json.loads((tmp_path / "build.json").read_text()) == SCHEMA
    (tmp_path / "mine.yaml").write_text("bore: 4 in\n")
    again = run("--out", "mine.yaml")
    assert (again.returncode, again.stdout) == (2, "")
    assert "mine.yaml is there already" in again.stderr
    assert (tmp_path / "mine.yaml").read_text() == "bore: 4 in\n"
    nowhere = run("--out", "no/where.yaml")
    assert nowhere.returncode == 2
    assert nowhere.stderr.count("\n") == 1


def test_lines_fit_a_terminal_and_metric_names_metric_conditions():
    for metric in (False, True):
        assert all(len(line) < 80 for line in build_template.text(metric=metric).splitlines())
    assert "at 1.27 mm lift (0.050 in)" in build_template.text(metric=True)
    assert "mm" not in build_template.describe("intake_duration")
