"""The reference has every command, option, field, finding, feature and public name, with words."""

import doctest
import importlib.util
import inspect
import json
import re
import sys
from pathlib import Path

import pytest
from typer.main import get_command
from typer.testing import CliRunner
from valid_sheet import sheet_text

from pullbook.commands.main import app
from pullbook.pipeline.features.engineered_features import FEATURES
from pullbook.schemas.fields import FIELDS, PULL_FIELDS
from pullbook.schemas.finding_codes import CODES

ROOT = Path(__file__).parents[1]
PAGES = ROOT / "docs" / "reference"
_FOUND = importlib.util.spec_from_file_location(
    "reference_from_code", ROOT / "docs" / "reference_from_code.py"
)
reference = importlib.util.module_from_spec(_FOUND)
sys.modules["reference_from_code"] = reference  # which doctest looks up
_FOUND.loader.exec_module(reference)


def page(name):
    """Return a page of the reference as the site has it."""
    return reference.filled((PAGES / f"{name}.md").read_text(encoding="utf-8"))


def sections(text):
    """Return the parts of a page by their headings of the second order."""
    parts = re.split(r"^## (.+)$", text, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def below(group, words="pullbook"):
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from below(command, f"{words} {name}")
        else:
            yield f"{words} {name}", command


COMMANDS = dict(below(get_command(app)))
SECTIONS = sections(page("commands"))


def test_no_command_is_on_the_page_that_is_not_there():
    assert list(SECTIONS) == list(COMMANDS)


@pytest.mark.parametrize("words", COMMANDS)
def test_a_command_and_its_options_have_words_and_a_place(words):
    assert COMMANDS[words].help
    assert " ".join(COMMANDS[words].help.split()) in " ".join(SECTIONS[words].split())
    for option in COMMANDS[words].params:
        assert option.help, f"{words} {option.name} has no help"
        shown = option.opts if option.param_type_name == "option" else [option.name.upper()]
        for name in shown:
            assert f"`{name}`" in SECTIONS[words]


@pytest.mark.parametrize("field", [*FIELDS.values(), *PULL_FIELDS.values()], ids=lambda f: f.name)
def test_a_field_has_its_meaning_and_what_it_takes(field):
    (row,) = re.findall(rf"^\| `{field.name}` \| .*$", page("fields"), re.MULTILINE)
    assert field.meaning in row
    assert field.allowed in row
    assert not field.required or field.name in PULL_FIELDS or row.endswith("| yes |")


@pytest.mark.parametrize("name", reference.SOMETIMES)
def test_what_is_required_at_times_is_a_field_that_is_not_required_always(name):
    assert not FIELDS[name].required


@pytest.mark.parametrize("code", CODES)
def test_a_finding_has_its_meaning(code):
    rows = re.findall(rf"^\| {code} \| .*$", page("findings"), re.MULTILINE)
    assert any(CODES[code].meaning in row for row in rows)


@pytest.mark.parametrize("feature", FEATURES.values(), ids=lambda f: f.name)
def test_a_feature_has_formula_and_source(feature):
    (row,) = re.findall(rf"^\| `{feature.name}` \| .*$", page("features"), re.MULTILINE)
    for said in (feature.unit, feature.formula.split("^")[0], feature.source):
        assert said in row


def test_what_is_public_has_words():
    names = dict(reference.public_names())
    assert {"Predictor", "CurveRegressor"} <= {name.rsplit(".", 1)[1] for name in names}
    for name, thing in names.items():
        assert f":: {name}\n" in page("python") + "\n"
        assert not callable(thing) or inspect.getdoc(thing), f"{name} has no docstring"


@pytest.mark.parametrize("path", sorted(PAGES.glob("*.md")), ids=lambda p: p.stem)
def test_nothing_that_the_code_should_tell_is_left_open(path):
    assert "from code:" not in page(path.stem)
    assert "\n| |" not in page(path.stem)


def test_what_the_generator_shows_of_itself():
    found = doctest.testmod(reference)
    assert (found.failed, found.attempted >= 2) == (0, True)


# --- JSON ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def builds(tmp_path_factory):
    """Return a folder with a build, another one, a list of parts, a table and a sheet."""
    folder = tmp_path_factory.mktemp("builds")
    (folder / "a.yaml").write_text(
        "cylinders: 8\nbore: 4.03\nstroke: 3.48\nintake_duration: 218\nintake_type: dual plane\n"
    )
    (folder / "b.yaml").write_text("extend: a.yaml\nintake_duration: 242\n")
    (folder / "c.yaml").write_text("extend: a.yaml\nintake_duration: 206\n")
    (folder / "parts.yaml").write_text(
        "build: {cylinders: 8, bore: 4.03, stroke: 3.48}\n"
        "parts: {cam: [{name: x, intake_duration: 206}, {name: y, intake_duration: 236}]}\n"
        "goal: {power: 5000}\n"
    )
    (folder / "could.csv").write_text("sheet_id,cylinders,bore,stroke\nx,8,4,3.5\ny,6,3.9,3.6\n")
    (folder / "sheet.csv").write_text(sheet_text())
    return folder


def names_in(found, own):
    if isinstance(found, dict):
        for key, value in found.items():
            yield key
            yield from () if key in own else names_in(value, own)
    elif isinstance(found, list):
        for one in found[:1]:
            yield from names_in(one, own)


@pytest.mark.parametrize(
    ("command", "words", "own"),  # own: what stands below is named by the user, or by the data
    [
        ("check", "sheet.csv", ()),
        ("predict", "a.yaml", ()),
        ("compare", "a.yaml b.yaml", ("parts",)),
        ("compare", "a.yaml b.yaml c.yaml", ()),
        ("vary", "a.yaml --field stroke=3.4,3.5", ("values",)),
        ("choose", "parts.yaml", ("parts",)),
        ("choose", "a.yaml --free lobe_separation --goal power=5000", ("values", "searched")),
        ("next", "could.csv --questions a.yaml", ()),
        ("against", "sheet.csv", ()),
        ("explain", "a.yaml", ("parts",)),
    ],
)
def test_every_name_in_json_is_on_its_page(command, words, own, builds, monkeypatch):
    monkeypatch.chdir(builds)
    done = CliRunner().invoke(app, [command, *words.split(), "--json"], catch_exceptions=False)
    found = json.loads(done.stdout)
    text = (PAGES / "json.md").read_text(encoding="utf-8")
    missing = {key for key in names_in(found, own) if f"`{key}`" not in text}
    assert missing == set()
