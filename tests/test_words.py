"""Words a user reads: the condition in every answer, plain words, one system of units."""

import dataclasses
import re
from pathlib import Path

import pytest
from command_line import run
from typer.main import get_command
from typer.testing import CliRunner

from pullbook.commands.main import app
from pullbook.model.review.judgement import Apart, Judgement, Side, Verdict
from pullbook.pipeline.privacy import contribute
from pullbook.reports import judgement_page
from pullbook.text import check_text
from pullbook.words import figures
from pullbook.words.units import Units

#: How every answer is shown: in inches, in metric, and at another standard.
SHOWN = [Units.INCH, Units.METRIC, Units(standard="SAE J607")]
BUILD = """\
sheet_id: launch
cylinders: 8
bore: 4.03
stroke: 3.48
compression_ratio: 9.4
intake_duration: 218
exhaust_duration: 224
intake_lift: 0.47
intake_flow: 225
intake_type: dual plane
airflow: 650
fuel: gasoline
octane: 91
"""
PARTS = """\
build: {cylinders: 8, bore: 4.03, stroke: 3.48, fuel: gasoline, octane: 91}
parts:
  heads:
    - {name: as cast, compression_ratio: 9.2, intake_flow: 205}
    - {name: race, compression_ratio: 15.5, intake_flow: 235}
  camshaft:
    - {name: short, intake_duration: 206, exhaust_duration: 212}
    - {name: long, intake_duration: 236, exhaust_duration: 242}
goal: {mean_torque: 2000:3500}
"""
ASKED = ("predict", "compare", "explain", "vary", "choose", "next", "against")
ODD = re.compile(
    r"\b(told|said|nought|amiss|swept|less [ABCD]|anew|OUTSIDE|stands?)\b|of 100|in 100\b"
)
OURS = re.compile(r"\d ?(in(?! \d)|cfm|psi)\b|\b(lb-ft|hp|sq in|cu in|cfm)\b")
CODE_SPELLING = re.compile(r"\b[a-z]+_[a-z_]+\b")


@pytest.fixture(scope="module")
def answers(demo, once):
    """Text, page and chart of every builder's command, in each way of showing them."""
    return once("words", lambda folder: asked(demo, folder))


def asked(demo, folder):
    build, other = folder / "launch.yaml", folder / "hot.yaml"
    build.write_text(BUILD)
    other.write_text(BUILD.replace("launch", "hot").replace("bore: 4.03", "bore: 6.9"))
    (folder / "parts.yaml").write_text(PARTS)
    demo.builds.drop(columns=["shop", "tested_on"]).iloc[:4].to_csv(folder / "could.csv")
    sheet = next(iter(sorted((demo.folder / "shared" / "accepted").glob("*.csv"))))
    words = {
        "predict": [other, "--rpm", "2000:7000:1000"],
        "compare": [build, other, "--band", "2500:4000"],
        "explain": [build],
        "vary": [build, "--field", "bore=4,6.9", "--tie", "intake_lift=0.01"],
        "choose": [folder / "parts.yaml"],
        "next": [folder / "could.csv", "--questions", build],
        "against": [sheet],
    }
    made = {}
    for name in ASKED:
        for units in SHOWN:
            page, chart = folder / f"{name}.html", folder / f"{name}.svg"
            argv = [name, *words[name], "--bundle", demo.bundle, "--units", units.system.value,
                    "--html", page, "--plot", chart]  # fmt: skip
            if name != "next":
                argv += ["--correction", units.standard]
            done = CliRunner().invoke(app, [str(word) for word in argv])
            assert done.exit_code == 0, f"{name}: {done.output} {done.exception}"
            html = re.sub(r'<img [^>]*alt="([^"]*)"[^>]*>|<style>.*?</style>', r"\1",
                          page.read_text(encoding="utf-8"), flags=re.DOTALL)  # fmt: skip
            drawn = re.findall(r"<text[^>]*>([^<]*)</text>", chart.read_text(encoding="utf-8"))
            made[name, units] = {
                "text": " ".join(done.stdout.split()),
                "page": re.sub(r"<[^>]+>", "\n", html),
                "chart": "\n".join(drawn),
            }
    return made


FORMS = ("text", "page", "chart")


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("units", SHOWN)
@pytest.mark.parametrize("name", ASKED)
def test_every_answer_states_unit_and_condition(answers, name, units, form):
    text = answers[name, units][form]
    assert ("SAE J1349" if name == "next" else units.standard) in text
    assert "flywheel" in text or (name, form) == ("next", "chart")
    assert units.torque in text


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("units", SHOWN)
@pytest.mark.parametrize("name", ASKED)
def test_every_answer_is_in_plain_words(answers, name, units, form):
    assert [one[0] for one in ODD.finditer(answers[name, units][form])] == []
    assert CODE_SPELLING.findall(answers[name, units][form]) == []


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("name", ASKED)
def test_metric_is_metric_everywhere(answers, name, form):
    assert [one[0] for one in OURS.finditer(answers[name, Units.METRIC][form])] == []


def every_help():
    """Return the help of every command, argument and option."""

    def below(words, command):
        for name, one in getattr(command, "commands", {}).items():
            yield from below(f"{words} {name}", one)
        if not hasattr(command, "commands"):
            yield words, command.help
            for parameter in command.params:
                yield f"{words} {parameter.name}", parameter.help

    return list(below("pullbook", get_command(app)))


@pytest.mark.parametrize(("words", "text"), every_help(), ids=lambda one: str(one)[:40])
def test_help_is_there_in_plain_words(words, text):
    assert text, words
    assert text.rstrip().endswith(".")
    assert ODD.search(text) is None


@pytest.mark.parametrize("option", ["rpm", "band", "low_range"])
def test_an_option_of_speeds_names_its_unit(option):
    helps = [text for words, text in every_help() if words.endswith(f" {option}")]
    assert helps
    assert all("rpm" in text for text in helps)


def test_names_with_a_word_of_the_shop_in_them_are_one_line(tmp_path, write_sheet):
    for number in range(6):
        write_sheet({"sheet_id": f"tern-{number}"}, name=f"in/{number}.csv")
    made = contribute.plan([tmp_path / "in"], b"key")
    (line,) = check_text.names([entry.sheet for entry in made.accepted])
    assert line.startswith("6 sheet IDs with a word of the shop's name: tern-0, tern-1, tern-2 and")
    assert "and 3 more. " in line


def test_what_is_not_read_is_named_with_what_a_sheet_is():
    line = check_text.passed_over([Path("in/question.yaml")])
    assert line.startswith("Not read: question.yaml (sheets are .csv files, workbooks,")


def test_figures_have_the_digits_they_deserve():
    assert [figures.difference(v) for v in (1.94, 1.96, -123.4, 0.04)] == [
        "+1.9", "+2", "-123", "0"
    ]  # fmt: skip
    assert [figures.percent(v) for v in (0.0, 0.5, 1.0)] == ["<1 %", "50 %", ">99 %"]
    assert figures.speed(3674.0) == "3650"
    assert Units.METRIC.named("intake_flow", 225.0) == "intake flow 6.37 m3/min"
    lengths = (("primary_diameter", 1.625), ("bore", 4.0), ("intake_lift", 0.47))
    assert [Units.METRIC.field(name, value) for name, value in lengths] == [
        "41.3 mm", "101.6 mm", "11.94 mm"
    ]  # fmt: skip
    assert Units.INCH.field("primary_diameter", 1.625) == "1.625 in"
    assert Units.INCH.named("intake_duration", 230.0) == "intake duration 230 deg"


def test_a_judgement_names_what_got_worse_in_its_one_sentence():
    side = Side("a", 9, 3, {"curve": {}}, {}, None, {})
    rms, median = Apart(3.8, 3.6, -0.2, -0.3, -0.1), Apart(2.5, 2.8, 0.3, 0.1, 0.4)
    found = Judgement(side, side, 9, 9, "shop", 0.9, {"rms": rms, "median_sheet": median}, None,
                      Verdict.BETTER, ["error of the curve"], (0.1, 0.1))  # fmt: skip
    sentence = "The new bundle is better, although beyond chance it is worse in median sheet"
    assert judgement_page.conclusion(found) == f"{sentence} (+0.30 %):"
    quiet = dataclasses.replace(found, figures={"rms": rms})
    assert judgement_page.conclusion(quiet) == "The new bundle is better:"
    worse = judgement_page.conclusion(dataclasses.replace(found, verdict=Verdict.WORSE))
    assert "it is worse in median sheet (+0.30 %), but better in curve (-0.20 %):" in worse
    assert f"{sentence} (+0.30 %)." in " ".join(judgement_page.page(found).markdown().split())


def test_the_preview_takes_back_its_promise_where_a_sheet_id_names_the_shop(write_sheet, tmp_path):
    words = ("contribute", "--preview", "--key-file", tmp_path / "key")
    hint = run(*words, write_sheet({"shop": "Tern Quay Marine", "sheet_id": "tern-1"})).stdout
    assert "the shop's name (unless it is part of a sheet ID), notes" in hint
    none = run(*words, write_sheet({"shop": "Tern Quay Marine", "sheet_id": "a-1"})).stdout
    assert "Never shared: the shop's name, notes" in none
