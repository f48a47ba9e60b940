"""The model's page: its accuracy, and where its limits hold."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.charts import accuracy_charts
from pullbook.model.evaluation import accuracy, evaluate_differences, kinds_of_sheet
from pullbook.model.evaluation.prediction_errors import LEVEL
from pullbook.pipeline.physics.correction_factors import REFERENCE
from pullbook.reports import benchmarks_page, evaluation_tables, learning_page
from pullbook.reports.document import Page
from pullbook.text.prediction_text import PLACE
from pullbook.words.figures import counted

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

    from pullbook.model.evaluation.evaluate import Evaluation

_RULES = {"nearest_sheet": "nearest sheet, scaled by size", "mean_per_cubic_inch":
          "mean torque per cubic inch"}  # fmt: skip


def page(
    found: Evaluation, regimes: pd.DataFrame, metrics: dict[str, Any], benchmarks: Path | None
) -> Page:
    """Return the page of an evaluation; ``benchmarks`` holds tables of peers and ablations."""
    made = Page("Accuracy")
    what = metrics["held_out"]
    made.text(
        f"Measured on {metrics['sheets']} sheets of {counted(metrics['shops'], what)}. Every {what}"
        " was held out once: a model was trained and calibrated without it, and then predicted its"
        f" sheets. Torque at the flywheel ({REFERENCE}). Every {what} counts the same in a share."
        f" Limits of a figure are 90 % limits, from resampling {what}s."
    )
    _meant(made)
    _errors(made, found)
    _coverage(made, metrics)
    _forecast(made, found)
    _strata(made, found)
    _regimes(made, regimes)
    _differences(made, found, metrics)
    _standing(made, metrics)
    if "learning_curve" in metrics:
        learning_page.add(made, metrics["learning_curve"])
    if benchmarks is not None:
        benchmarks_page.add(made, benchmarks)
    return made


def _meant(made: Page) -> None:
    made.heading("What it is for")
    made.text(
        "To predict the torque and power curve of a four-stroke engine on a dyno from its parts,"
        " for builders who choose parts. Not to clear an engine to run at a speed or a load, not to"
        " settle a dispute, and not for engines unlike those in the data; it says so when they are."
    )
    made.heading("What it does not know")
    made.text(
        "Strength, wear, fuel distribution, knock, gaskets; anything that is not on a sheet;"
        " whether a part was what its box said. Differences from engine to engine are in the"
        " limits. The data come from the shops that chose to contribute."
    )


def _errors(made: Page, found: Evaluation) -> None:
    made.heading("Error")
    errors = found.errors()
    rows = []
    for name, (_, _, title) in accuracy.FIGURES.items():
        digits = 0 if name.endswith("rpm") else 2
        row = [title]
        for predictor in ("predicted", *_RULES):
            figure = errors[predictor].get(name)
            row.append("" if figure is None else "{:.{d}f} ({:.{d}f} to {:.{d}f})".format(
                *figure, d=digits))  # fmt: skip
        if any(row[1:]):
            rows.append(row)
    made.table(["figure", "this model", *_RULES.values()], rows)
    for rule, title in _RULES.items():
        more, low, high = kinds_of_sheet.gain(found, rule)
        made.text(
            f"The error of the curve is {more:.2f} ({low:.2f} to {high:.2f}) % rms smaller than"
            f" with the {title}."
        )
    made.text(
        "Where the highest reading is at an end of the sweep, the speed of the peak is not counted."
        " The band is the middle half of each sweep. CRPS and interval score combine the error and"
        f" the width of the limits; the interval score is for {100 * LEVEL:g} % limits."
    )


def _coverage(made: Page, metrics: dict[str, Any]) -> None:
    made.heading("Do the limits hold?")
    made.text("Share of measured values inside the limits, %.")
    held = metrics["coverage"]
    if not held["reading"]:
        made.text(f"No limits: they need sheets of more {metrics['held_out']}s.")
        return
    rows = [
        [
            f"{100 * float(level):g} %",
            *(f"{100 * of[level]:.1f}" if level in of else "" for of in held.values()),
            f"{metrics['median_width_percent'][level]:.1f}",
        ]
        for level in held["reading"]
    ]
    titles = [name.replace("_rpm", ", its speed").replace("_", " ") for name in held]
    made.table(["level", *titles, "median width, %"], rows)


def _forecast(made: Page, found: Evaluation) -> None:
    if found.readings[f"inside_{LEVEL}"].isna().all():
        return
    table = kinds_of_sheet.pit(found.readings)
    made.text(
        "If the limits are right at every level, each tenth of the predicted range holds one tenth"
        " of the readings."
    )
    made.picture(
        "model_pit.svg",
        accuracy_charts.tenths(table),
        "Share of held-out readings in each tenth of the predicted range, with error bars over"
        f" {found.held_out}s; the line is one tenth. Shares: "
        + ", ".join(f"{100 * share:.0f} %" for share in table["share"])
        + ".",
    )


def _strata(made: Page, found: Evaluation) -> None:
    table = kinds_of_sheet.by_kind(found.readings, found.sheets, LEVEL)
    table = table.dropna(subset=["inside"])
    if table.empty:
        return
    made.heading("Where the limits hold, and where not")
    what = found.held_out
    worst = table[table["shops"] >= 5].sort_values("inside").iloc[0]
    made.text(
        f"{100 * LEVEL:g} % limits. Of kinds of sheet from five {what}s or more they hold least for"
        f" {worst['by']}: {worst['stratum']}, with {100 * worst['inside']:.1f} % inside"
        f" ({100 * worst['low']:.1f} to {100 * worst['high']:.1f} %). The limits are made to hold"
        f" over all builds of new {what}s, not for every kind; outside the data they may not hold."
    )
    made.picture(
        "model_strata.svg",
        accuracy_charts.kinds(table),
        f"Share of held-out readings inside the {100 * LEVEL:g} % limits by kind of sheet, with"
        f" error bars over {what}s; the line is the level itself.",
    )
    _stratum_table(made, table, what)


def _stratum_table(made: Page, table: pd.DataFrame, what: str = "shop") -> None:
    percent = table.assign(**{name: 100 * table[name] for name in ("inside", "low", "high")})
    made.table(
        ["by", "kind", "sheets", f"{what}s", "rms, %", "inside, %", "90 % limits", "width, %"],
        [
            [r.by, r.stratum, r.sheets, r.shops, f"{r.error:.2f}", f"{r.inside:.1f}",
             f"{r.low:.1f} to {r.high:.1f}", f"{r.width:.1f}"]
            for r in percent.itertuples()
        ],
    )  # fmt: skip


def _regimes(made: Page, readings: pd.DataFrame) -> None:
    if readings.empty:
        return
    table = kinds_of_sheet.regimes(readings, LEVEL).dropna(subset=["inside"])
    if table.empty:
        return
    made.heading("Known and new shops and engine families")
    made.text(
        "More models were trained without one part of the shops, one part of the families and some"
        " engines of the rest. Sheets of a known shop were predicted with that shop's limits, those"
        " of a new family with the limits for one, where there were enough families for the level."
    )
    _stratum_table(made, table)


def _differences(made: Page, found: Evaluation, metrics: dict[str, Any]) -> None:
    made.heading("Differences of two builds")
    rows = [
        [title, f"{100 * float(level):g} %", f"{100 * held['point']:.1f}",
         f"{100 * held['mean']:.1f}",
         f"{held['width_over_two_bands']:.2f}"]
        for name, title in (("one_shop", "one shop"), ("two_shops", "two shops"))
        for level, held in metrics["coverage_difference"].get(name, {}).items()
    ]  # fmt: skip
    if not rows:
        made.text("No limits of differences: too few shops or pairs of sheets.")
        return
    made.text(
        "On pairs of held-out sheets: share of differences inside their limits, %. The last column"
        " is the width of these limits divided by that of the two builds' limits together."
    )
    made.table(["tested by", "level", "at one speed, %", "mean over a band, %", "width"], rows)
    chances = evaluate_differences.reliability(found.pairs)
    if chances.empty:
        return
    made.text(
        "Which of two makes more: a comparison states a chance. Below, pairs are sorted by the"
        " chance stated for the likelier one, and counted is how often that one did make more."
    )
    made.picture(
        "model_chances.svg",
        accuracy_charts.chances(chances),
        "How often the likelier of two builds made more, by the chance that was stated, with 90 %"
        " limits; on the line both are the same.",
    )
    made.table(
        ["stated chance, %", "pairs", "mean stated, %", "made more, %", "90 % limits"],
        [
            [f"{100 * r['from']:.0f} to {100 * r['to']:.0f}", f"{r['pairs']:.0f}",
             f"{100 * r['stated']:.0f}", f"{100 * r['right']:.0f}",
             f"{100 * r['low']:.0f} to {100 * r['high']:.0f}"]
            for r in chances.to_dict("records")
        ],
    )  # fmt: skip


def _standing(made: Page, metrics: dict[str, Any]) -> None:
    made.heading(f"Builds of new {metrics['held_out']}s inside and outside the data")
    made.table(
        ["place", "share of builds"],
        [
            [PLACE[name], f"{100 * share:.0f} %"]
            for name, share in metrics["standing_share"].items()
        ],
    )


def write(
    found: Evaluation,
    regimes: pd.DataFrame,
    metrics: dict[str, Any],
    benchmarks: Path | None,
    folder: Path,
) -> None:
    """Write the evaluation's tables and chart, and the model's page."""
    evaluation_tables.write(found, metrics, folder)
    page(found, regimes, metrics, benchmarks).write(folder, "model")
