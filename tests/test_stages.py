"""The pipeline's declaration fits the code: what can be told of it without running DVC."""

import importlib.util
import re
import shlex
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
        place = PARAMS
        for part in dotted.split("."):
            place = place[part]


def test_artifacts_are_made_by_a_stage():
    assert {one["path"] for one in DECLARED["artifacts"].values()} <= OUTS
