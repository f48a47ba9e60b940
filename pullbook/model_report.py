"""The model's page: what it was tested on, how far off it was, and where its limits hold."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from model import strata
from pullbook import chart, report
from pullbook.page import Page, svg_of

if TYPE_CHECKING:
    import pandas as pd

    from model.evaluate import Evaluation

_LEVEL = 0.9
_RULES = {"nearest_sheet": "nearest sheet, scaled by size", "mean_per_cubic_inch":
          "mean torque per cubic inch"}  # fmt: skip


def page(found: Evaluation, metrics: dict[str, Any]) -> Page:
    """Return the page of an evaluation."""
    made = Page("What the model is worth")
    made.text(
        f"{metrics['sheets']} sheets of {metrics['shops']} shops. Every shop was held out once: a"
        " model was trained and calibrated without it, and asked about its sheets. Shops weigh the"
        " same wherever a share is given; limits of a share are resampled by shop."
    )
    _meant(made)
    _errors(made, found, metrics)
    _coverage(made, metrics)
    _strata(made, found)
    _differences(made, metrics)
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


def _errors(made: Page, found: Evaluation, metrics: dict[str, Any]) -> None:
    made.heading("How far off it is")
    rows = []
    for name, title in (("predicted", "this model"), *_RULES.items()):
        error = metrics["error_percent"][name]
        more = ""
        if name != "predicted":
            gain, low, high = strata.gain(found, name)
            more = f"{gain:.2f} ({low:.2f} to {high:.2f})"
        rows.append([title, f"{error['rms']:.2f}", f"{error['median_sheet']:.2f}",
                     f"{error['p90_sheet']:.2f}", more])  # fmt: skip
    made.table(
        ["predictor", "rms, %", "median sheet, %", "90th percentile, %", "errs more by (90 %)"],
        rows,
    )


def _coverage(made: Page, metrics: dict[str, Any]) -> None:
    made.heading("Whether its limits hold")
    if not metrics["coverage_point"]:
        made.text("There are too few shops for limits.")
        return
    rows = [
        [
            f"{100 * float(level):g} %",
            *(
                f"{metrics[name][level]:.3f}"
                for name in ("coverage_point", "coverage_band", "coverage_peak_torque")
            ),
            f"{metrics['median_width_percent'][level]:.1f}",
        ]
        for level in metrics["coverage_point"]
    ]
    made.table(["level", "readings", "whole curves", "peak torque", "median width, %"], rows)


def _strata(made: Page, found: Evaluation) -> None:
    table = strata.table(found, _LEVEL)
    if table["inside"].isna().any():
        return
    made.heading("Where they hold, and where not")
    worst = table[table["shops"] >= 5].sort_values("inside").iloc[0]
    made.text(
        f"At {100 * _LEVEL:g} %. The worst stratum of five shops or more is {worst['by']}:"
        f" {worst['stratum']}, with {worst['inside']:.3f} inside ({worst['low']:.3f} to"
        f" {worst['high']:.3f}). The promise is for all builds of shops never seen, not for each"
        " stratum; outside what was tested it does not apply."
    )
    made.picture(
        "model_strata.svg",
        _dots(table),
        f"Share of held-out readings inside the {100 * _LEVEL:g} % limits by kind of sheet, with"
        " error bars over shops; the line is what was promised.",
    )
    made.table(
        ["by", "stratum", "sheets", "shops", "rms, %", "inside", "90 % limits", "width, %"],
        [
            [r.by, r.stratum, r.sheets, r.shops, f"{r.error:.2f}", f"{r.inside:.3f}",
             f"{r.low:.3f} to {r.high:.3f}", f"{r.width:.1f}"]
            for r in table.itertuples()
        ],
    )  # fmt: skip


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


def _dots(table: pd.DataFrame) -> bytes:
    with mpl.rc_context({**chart.STYLE, "font.size": 9}):
        figure = Figure(figsize=(6.4, 0.9 + 0.27 * len(table)), layout="constrained")
        FigureCanvasAgg(figure)
        axes = figure.subplots()
        places = np.arange(len(table))
        inside = table["inside"].to_numpy(float)
        bars = np.abs(np.vstack([table["low"], table["high"]]).astype(float) - inside)
        axes.axvline(_LEVEL, color="#8b9096", linewidth=1)
        axes.errorbar(inside, places, xerr=bars, fmt="o", color=chart.COLOURS[0], markersize=4,
                      elinewidth=1)  # fmt: skip
        labels = [f"{by}: {s}" if by != "all" else "all" for by, s in
                  zip(table["by"], table["stratum"], strict=True)]  # fmt: skip
        axes.set_yticks(places, labels)
        axes.invert_yaxis()
        axes.set_xlabel("share of readings inside")
        return svg_of(figure)


def write(found: Evaluation, metrics: dict[str, Any], folder: Any) -> None:
    """Write the evaluation's tables and picture, and the model's page."""
    report.write(found, folder)
    page(found, metrics).write(folder, "model")
