"""What a user sees of a mistake, and of a fault of the program."""

import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

import pullbook
from pullbook.arguments import messages
from pullbook.commands import main
from pullbook.schemas import errors

QUESTION = Path(__file__).parents[1] / "data" / "examples" / "question.yaml"


def stop(monkeypatch, capsys, *words):
    """Run a command that must end with exit status 2; return what it says."""
    monkeypatch.setattr(sys, "argv", ["pullbook", *map(str, words)])
    with pytest.raises(SystemExit) as end:
        main.run()
    assert end.value.code == 2
    return capsys.readouterr().err


def ours():
    """Return every error class of ours, by walking all modules."""
    import importlib
    import pkgutil

    names = [
        module.name
        for top in ("pullbook", "pullbook.schemas", "pullbook.pipeline", "pullbook.model")
        for module in pkgutil.walk_packages(importlib.import_module(top).__path__, f"{top}.")
        if not module.name.endswith("__main__")
    ]
    found = set()
    for name in names:
        for value in vars(importlib.import_module(name)).values():
            if isinstance(value, type) and issubclass(value, Exception):
                found.add(value)
    return {one for one in found if one.__module__.startswith("pullbook.")}


def test_every_error_of_ours_has_the_one_base():
    assert len(ours()) > 20
    assert all(issubclass(one, errors.PullbookError) for one in ours())


@pytest.mark.parametrize(
    "words", [("check", "nowhere"), ("predict", "nowhere.yaml"), ("predict", "nowhere.jpg"),
              ("contribute", "nowhere", "--into", "x"), ("against", "nowhere.csv")]
)  # fmt: skip
def test_a_path_that_is_not_there_is_said_to_be_so(monkeypatch, capsys, words):
    said = stop(monkeypatch, capsys, *words)
    assert f"{words[1]} does not exist" in said
    assert said.count("\n") == 1


@pytest.mark.parametrize(
    ("field", "near"), [("intake_duraton=1,2", "intake_duration"), ("Bor=3,4", "bore"),
                        ("intake_type=dual plan,single plane", "dual plane")]
)  # fmt: skip
def test_a_misspelt_field_or_value_is_answered_with_the_nearest(monkeypatch, capsys, field, near):
    said = stop(monkeypatch, capsys, "vary", QUESTION, "--field", field)
    assert f"Did you mean {near}?" in said


def test_a_misspelt_heading_is_answered_with_the_nearest(write_sheet):
    (sheet,) = pullbook.read_sheets(write_sheet({"intake_duraton": "214"}))
    (finding,) = [one for one in sheet.findings if one.code == "unknown-field"]
    assert "Did you mean intake_duration?" in finding.message


def test_a_misspelt_command_is_answered_with_the_nearest():
    done = CliRunner().invoke(main.app, ["predct"])
    assert done.exit_code == 2
    assert "Did you mean 'predict'?" in done.output


def test_a_fault_of_the_program_ends_in_a_log_that_is_named(monkeypatch, capsys, tmp_path):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))

    def broken():
        return {}["no such thing"]

    monkeypatch.setattr(main, "app", broken)
    monkeypatch.setattr(sys, "argv", ["pullbook", "check"])
    with pytest.raises(SystemExit) as end:
        main.run()
    said = capsys.readouterr().err
    (log,) = tmp_path.rglob("*.txt")
    assert end.value.code == 2
    assert str(log) in said
    assert "KeyError" in said
    assert "Traceback" not in said
    assert "broken" in log.read_text(encoding="utf-8")


def test_without_a_place_for_the_log_the_details_are_printed(monkeypatch, capsys, tmp_path):
    blocked = tmp_path / "state"
    blocked.write_text("a file where a folder should be")
    monkeypatch.setenv("XDG_STATE_HOME", str(blocked))
    monkeypatch.setattr(main, "app", lambda: 1 / 0)
    with pytest.raises(SystemExit):
        main.run()
    assert "ZeroDivisionError" in capsys.readouterr().err


def test_where_a_mistake_is_comes_before_what_it_is():
    fault = errors.InputError("write a number", file="a.csv", row=3, field="bore")
    assert str(fault) == "a.csv, row 3, bore: write a number"
    assert str(errors.InputError("write a number")) == "write a number"


def test_it_runs_as_a_module():
    done = subprocess.run(
        [sys.executable, "-m", "pullbook", "--version"], capture_output=True, text=True, check=True
    )
    assert done.stdout.startswith("pullbook ")


def test_a_message_is_broken_between_words_on_a_terminal_alone(monkeypatch, capsys):
    message = "intake duration 330 deg is above 300 deg, the most that was tested: " + "x" * 60
    messages.say(message)
    assert capsys.readouterr().err == f"{message}\n"
    monkeypatch.setenv("COLUMNS", "40")
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    messages.say(message)
    assert capsys.readouterr().err.splitlines() == [
        "intake duration 330 deg is above 300",
        "  deg, the most that was tested:",
        f"  {'x' * 60}",
    ]
    monkeypatch.setenv("COLUMNS", "1")
    messages.say("no\n\nroom")
    assert capsys.readouterr().err == "no\n\nroom\n"
