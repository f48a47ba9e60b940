"""The model's page: what it was tested on, how far off it was, and where its limits hold."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np

from pullbook.charts import drawing
from pullbook.charts.drawing import svg_of
from pullbook.model.evaluation import accuracy, kinds_of_sheet
from pullbook.model.evaluation.prediction_errors import LEVEL
from pullbook.reports import benchmarks_page, evaluation_tables
from pullbook.reports.document import Page

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
    made = Page("What the model is worth")
    made.text(
        f"{metrics['sheets']} sheets of {metrics['shops']} shops. Every shop was held out once: a"
        " model was trained and calibrated without it, and asked about its sheets. Shops weigh the"
        " same wherever a share is given; limits of a figure are its 90 % limits, resampled by"
        " shop."
    )
    _meant(made)
    _errors(made, found)
    _coverage(made, metrics)
    _forecast(made, found)
    _strata(made, found)
    _regimes(made, regimes)
    _differences(made, metrics)
    _standing(made, metrics)
    if benchmarks is not None:
        benchmarks_page.add(made, benchmarks)
    return made


def _meant(made: Page) -> None:
    made.heading("What it is for")
    made.text(
        "It says what torque and power curve a four-stroke engine will likely show on a dyno, at"
        " the flywheel under SAE J1349, from what is built into it: for builders who choose parts."
        " It is not for releasing an engine to run at a speed or a load, for settling a dispute, or"
        " for engines unlike those it has seen, which it says."
    )
    made.heading("What it does not know")
    made.text(
        "Strength, wear, fuel distribution, knock, the state of a gasket; what nobody wrote on a"
        " sheet; whether a part was what its box said. What varies from engine to engine is in the"
        " limits. The data are a convenience sample of the shops that contributed."
    )


def _errors(made: Page, found: Evaluation) -> None:
    made.heading("How far off it is")
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
            f"The curve errs by {more:.2f} ({low:.2f} to {high:.2f}) less, in % rms, than from the"
            f" {title}."
        )
    made.text(
        "A peak measured at an end of the sweep has no speed to be off. The band is the middle half"
        " of each sweep. CRPS and interval score weigh error and width of the limits together;"
        f" the latter is of the {100 * LEVEL:g} % limits."
    )


def _coverage(made: Page, metrics: dict[str, Any]) -> None:
    made.heading("Whether its limits hold")
    held = metrics["coverage"]
    if not held["reading"]:
        made.text("There are too few shops for limits.")
        return
    rows = [
        [
            f"{100 * float(level):g} %",
            *(f"{of[level]:.3f}" if level in of else "" for of in held.values()),
            f"{metrics['median_width_percent'][level]:.1f}",
        ]
        for level in held["reading"]
    ]
    titles = [name.replace("_rpm", ", its speed").replace("_", " ") for name in held]
    made.table(["level", *titles, "median width, %"], rows)


def _forecast(made: Page, found: Evaluation) -> None:
    if found.readings[f"inside_{LEVEL}"].isna().any():
        return
    table = kinds_of_sheet.pit(found.readings)
    made.text(
        "A forecast that is right about how sure it is puts as many readings into each tenth of"
        " what it thought likely."
    )
    made.picture(
        "model_pit.svg",
        _bars(table),
        "Share of held-out readings in each tenth of what was forecast, with error bars over shops;"
        " the line is one tenth. Shares: "
        + ", ".join(f"{100 * share:.0f} %" for share in table["share"])
        + ".",
    )


def _strata(made: Page, found: Evaluation) -> None:
    table = kinds_of_sheet.by_kind(found.readings, found.sheets, LEVEL)
    if table["inside"].isna().any():
        return
    made.heading("Where they hold, and where not")
    worst = table[table["shops"] >= 5].sort_values("inside").iloc[0]
    made.text(
        f"At {100 * LEVEL:g} %. The worst stratum of five shops or more is {worst['by']}:"
        f" {worst['stratum']}, with {worst['inside']:.3f} inside ({worst['low']:.3f} to"
        f" {worst['high']:.3f}). The promise is for all builds of shops never seen, not for each"
        " stratum; outside what was tested it does not apply."
    )
    made.picture(
        "model_strata.svg",
        _dots(table),
        f"Share of held-out readings inside the {100 * LEVEL:g} % limits by kind of sheet, with"
        " error bars over shops; the line is what was promised.",
    )
    _stratum_table(made, table)


def _stratum_table(made: Page, table: pd.DataFrame) -> None:
    made.table(
        ["by", "stratum", "sheets", "shops", "rms, %", "inside", "90 % limits", "width, %"],
        [
            [r.by, r.stratum, r.sheets, r.shops, f"{r.error:.2f}", f"{r.inside:.3f}",
             f"{r.low:.3f} to {r.high:.3f}", f"{r.width:.1f}"]
            for r in table.itertuples()
        ],
    )  # fmt: skip


def _regimes(made: Page, readings: pd.DataFrame) -> None:
    if readings.empty or readings[f"inside_{LEVEL}"].isna().any():
        return
    made.heading("Shops and engine families it knows, and such as it does not")
    made.text(
        "Further models were trained without one part of the shops, one part of the families and"
        " some engines of the rest; a known shop was asked about as itself."
    )
    _stratum_table(made, kinds_of_sheet.regimes(readings, LEVEL))


def _differences(made: Page, metrics: dict[str, Any]) -> None:
    made.heading("Differences of two builds")
    rows = [
        [title, f"{100 * float(level):g} %", f"{held['point']:.3f}", f"{held['mean']:.3f}",
         f"{held['width_over_two_bands']:.2f}"]
        for name, title in (("one_shop", "one shop"), ("two_shops", "two shops"))
        for level, held in metrics["coverage_difference"].get(name, {}).items()
    ]  # fmt: skip
    if not rows:
        made.text("There are too few shops, or too few pairs, for limits of differences.")
        return
    made.text(
        "On pairs of held-out sheets. The last column is the width of the limits against that of"
        " the two builds' limits laid side by side."
    )
    made.table(["tested by", "level", "at one speed", "mean over a band", "of two bands"], rows)


def _standing(made: Page, metrics: dict[str, Any]) -> None:
    made.heading("Where builds of shops never seen stand")
    made.table(
        ["standing", "share of builds"],
        [[name, f"{100 * share:.1f} %"] for name, share in metrics["standing_share"].items()],
    )


def _bars(table: pd.DataFrame) -> bytes:
    with mpl.rc_context({**drawing.STYLE, "font.size": 9}):
        figure, axes = drawing.panel(2.6)
        share = 100 * table["share"].to_numpy(float)
        middle = 50 * (table["from"] + table["to"]).to_numpy(float)
        bars = np.abs(100 * np.vstack([table["low"], table["high"]]).astype(float) - share)
        axes.bar(middle, share, width=90 / len(table), color=drawing.COLOURS[0], alpha=0.6)
        axes.errorbar(middle, share, yerr=bars, fmt="none", ecolor="#30363b", elinewidth=1)
        axes.axhline(100 / len(table), color="#8b9096", linewidth=1)
        axes.set_xlabel("where the reading fell in what was forecast, %")
        axes.set_ylabel("% of readings")
        return svg_of(figure)


def _dots(table: pd.DataFrame) -> bytes:
    with mpl.rc_context({**drawing.STYLE, "font.size": 9}):
        figure, axes = drawing.panel(0.9 + 0.27 * len(table))
        places = np.arange(len(table))
        inside = table["inside"].to_numpy(float)
        bars = np.abs(np.vstack([table["low"], table["high"]]).astype(float) - inside)
        axes.axvline(LEVEL, color="#8b9096", linewidth=1)
        axes.errorbar(inside, places, xerr=bars, fmt="o", color=drawing.COLOURS[0], markersize=4,
                      elinewidth=1)  # fmt: skip
        labels = [f"{by}: {s}" if by != "all" else "all" for by, s in
                  zip(table["by"], table["stratum"], strict=True)]  # fmt: skip
        axes.set_yticks(places, labels)
        axes.invert_yaxis()
        axes.set_xlabel("share of readings inside")
        return svg_of(figure)


def write(
    found: Evaluation,
    regimes: pd.DataFrame,
    metrics: dict[str, Any],
    benchmarks: Path | None,
    folder: Path,
) -> None:
    """Write the evaluation's tables and picture, and the model's page."""
    evaluation_tables.write(found, metrics, folder)
    page(found, regimes, metrics, benchmarks).write(folder, "model")
