"""The pipeline's declaration fits the code: what can be told of it without running DVC."""

import ast
import importlib.util
import inspect
import re
import shlex
import textwrap
from pathlib import Path

import pytest
import typer
import yaml

from pullbook.commands.main import app
from pullbook.tasks import own_key

ROOT = Path(__file__).parents[1]
DECLARED = yaml.safe_load((ROOT / "dvc.yaml").read_text(encoding="utf-8"))
PARAMS = yaml.safe_load((ROOT / "params.yaml").read_text(encoding="utf-8"))
STAGES = {
    f"{name}@{item}" if item else name: (stage.get("do", stage), item)
    for name, stage in DECLARED["stages"].items()
    for item in stage.get("foreach", [""])
}


def filled(text, item):
    return text.replace("${item}", item)


def paths(stage, item, *kinds):
    """Return the paths that a stage names; one with settings of its own is a mapping."""
    for kind in kinds:
        for one in stage.get(kind, []):
            yield filled(one if isinstance(one, str) else next(iter(one)), item)


OUTS = {path for stage, item in STAGES.values() for path in paths(stage, item, "outs", "metrics")}


@pytest.mark.parametrize("name", STAGES)
def test_what_a_stage_needs_is_in_the_repository_or_made_by_another(name):
    for path in paths(*STAGES[name], "deps"):
        made = any(path == out or path.startswith(f"{out}/") for out in OUTS)
        assert made or (ROOT / path).exists(), path


@pytest.mark.parametrize("name", STAGES)
def test_a_stage_runs_commands_and_options_that_there_are(name):
    stage, item = STAGES[name]
    ran = 0
    for command in re.split(r"&&|\|\|", filled(stage["cmd"], item)):
        words = shlex.split(command)
        if words[0] == f"{own_key.OPEN_KEY}=yes":
            words = words[1:]
        if words[:2] == ["python", "-m"]:
            assert importlib.util.find_spec(words[2]), words[2]
        elif words[0] == "pullbook":
            found, rest = typer.main.get_command(app), words[1:]
            while hasattr(found, "commands"):
                found, rest = found.commands[rest[0]], rest[1:]
            options = {option for param in found.params for option in param.opts}
            assert {word for word in rest if word.startswith("--")} <= options
        else:
            assert words[0] in {"python", "test", "rm"}
        ran += 1
    assert ran


@pytest.mark.parametrize("name", STAGES)
def test_a_stage_reads_parameters_that_there_are(name):
    stage, _ = STAGES[name]
    asked = re.findall(r"\$\{(\w+(?:\.\w+)*)\}", stage["cmd"].replace("${item}", ""))
    for dotted in [*asked, *stage.get("params", [])]:
        place, parts = PARAMS, [dotted]
        if isinstance(dotted, dict):
            ((file, parts),) = dotted.items()
            place = yaml.safe_load((ROOT / file).read_text(encoding="utf-8"))
        for part in ".".join(parts).split("."):
            place = place[part]


def test_tuning_leaves_the_bundle_in_use_as_it_is():
    champion, _ = STAGES["champion"]
    assert champion["params"] == [{"data/champion.yaml": ["train"]}]
    assert "params.yaml" not in champion["cmd"]
    assert not {"data/split", "data/bundle", "data/features"} & set(champion["deps"])


def test_the_jury_is_read_by_judge_alone():
    """Whatever is turned by parameters of training sees the shops to learn from, and no others."""
    assert [name for name, (stage, item) in STAGES.items()
            if any("jury" in path for path in paths(stage, item, "deps"))] == ["judge"]  # fmt: skip
    for stage, item in STAGES.values():
        if "train" in stage.get("params", []):
            data = {path for path in paths(stage, item, "deps") if path.startswith("data/")}
            assert data <= {"data/split/learn", "data/features"}
            assert not re.search(r"data/(curated|split/jury|earlier|contributed)", stage["cmd"])


#: Rooms that every command needs to start, and that no stage's result depends on.
STARTS = {"pullbook", "pullbook/commands", "pullbook/arguments"}


def rooms_of(names, seen):
    """Return the folders of modules and of all that they import, wherever they import it."""
    for name in names:
        path = ROOT / Path(*name.removeprefix("pullbook.").split("."))
        file = path.with_suffix(".py") if path.with_suffix(".py").exists() else path / "__init__.py"
        if not file.exists():
            file = ROOT / "pullbook" / Path(*name.split(".")[1:]).with_suffix(".py")
        if file not in seen and file.exists():
            seen.add(file)
            rooms_of(imports(ast.parse(file.read_text(encoding="utf-8"))), seen)
    return {file.parent.relative_to(ROOT).as_posix() for file in seen}


def imports(tree):
    """Return the modules of ours that code imports, but for its types."""
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING":
            node.body = []
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("pullbook"):
            yield node.module
            yield from (f"{node.module}.{one.name}" for one in node.names)


@pytest.mark.parametrize("name", STAGES)
def test_a_stage_depends_on_all_the_code_that_its_command_runs(name):
    stage, item = STAGES[name]
    deps = set(paths(stage, item, "deps"))
    for command in re.split(r"&&|\|\|", filled(stage["cmd"], item)):
        words = [word for word in shlex.split(command) if not word.startswith(own_key.OPEN_KEY)]
        if words[0] != "pullbook":
            continue
        found, rest = typer.main.get_command(app), words[1:]
        while hasattr(found, "commands"):
            found, rest = found.commands[rest[0]], rest[1:]
        body = ast.parse(textwrap.dedent(inspect.getsource(inspect.unwrap(found.callback))))
        needed = rooms_of(imports(body), set()) - STARTS
        missing = {
            room for room in needed if not any(room == d or room.startswith(f"{d}/") for d in deps)
        }
        assert not missing


def test_artifacts_are_made_by_a_stage():
    assert {one["path"] for one in DECLARED["artifacts"].values()} <= OUTS
