"""Benchmarks on the model's page: other methods, more sheets, each part left out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import matplotlib as mpl
import pandas as pd

from pullbook.charts import drawing
from pullbook.charts.drawing import svg_of
from pullbook.model.evaluation import accuracy
from pullbook.reports.document import Page

if TYPE_CHECKING:
    from pathlib import Path

PEERS, LEARNING = "peers.csv", "learning_curve.csv"
ABLATION, LIMITS = "ablation.csv", "ablation_limits.csv"
_FIGURES = ("rms", "median_sheet", "p90_sheet", "peak_torque", "peak_power", "band_mean", "crps",
            "interval_score")  # fmt: skip
_DRAWN = 4


def add(page: Page, folder: Path) -> None:
    """Add the benchmark tables of a folder to a page; a table that is not there is left out."""
    for name, add_table in ((PEERS, _peers), (LEARNING, _learning), (ABLATION, _ablation),
                       (LIMITS, _limits)):  # fmt: skip
        if (folder / name).is_file():
            add_table(page, pd.read_csv(folder / name))


def _peers(page: Page, table: pd.DataFrame) -> None:
    page.heading("Compared with other methods")
    page.text(
        "Errors in % of torque, on the same held-out shops (make peers). All methods but the plain"
        " one have the model's features and target. Limits are conformal over shops held out from"
        " the training data of each method (ten parts for the model, four for the others; quantiles"
        " by conformalised quantile regression). Last columns: readings inside the 90 % limits, and"
        " the width of the limits once scaled to hold exactly 90 %."
    )
    titles = {name: accuracy.FIGURES[name][2].removesuffix(", %") for name in _FIGURES}
    rows = [
        [row["predictor"], *(f"{row[name]:.2f}" for name in _FIGURES), f"{100 * row['inside']:.1f}",
         f"{row['width_at_equal_coverage']:.1f}"]
        for row in table.to_dict(orient="records")
    ]  # fmt: skip
    page.table(["method", *titles.values(), "inside, %", "width at 90 %, %"], rows)
    own, others = table.iloc[0], table.iloc[1:]
    best = others.sort_values("rms").iloc[0]
    page.text(
        f"90 % limits of the first column over shops: {own['predictor']} {own['rms_low']:.2f} to"
        f" {own['rms_high']:.2f}; the next best, {best['predictor']}, {best['rms_low']:.2f} to"
        f" {best['rms_high']:.2f}."
    )


def _learning(page: Page, table: pd.DataFrame) -> None:
    page.heading("Accuracy with more sheets")
    page.text(
        "Error on shops the model has not seen, % rms of torque, by the number of (invented) sheets"
        " it learned from."
    )
    names = list(table.columns[2:])
    page.picture("model_learning.svg", _curve(table, names),
                 "Error by number of sheets, of the model and the closest methods.")  # fmt: skip
    page.table(
        ["method", *(f"{count} sheets" for count in table["sheets"])],
        [[name, *(f"{error:.2f}" for error in table[name])] for name in names],
    )


def _curve(table: pd.DataFrame, names: list[str]) -> bytes:
    drawn = [names[0], *table[names[1:]].iloc[-1].sort_values().index[: _DRAWN - 1]]
    with mpl.rc_context({**drawing.STYLE, "font.size": 9}):
        figure, axes = drawing.panel(3.9)
        drawing.page_title(figure, "Error on new shops, by number of sheets")
        for at, name in enumerate(drawn):
            axes.plot(table["sheets"], table[name], color=drawing.COLOURS[at], marker="osd^"[at],
                      markersize=4, linestyle=drawing.LINES[at], label=name)  # fmt: skip
        axes.set_xscale("log")
        axes.set_xticks(table["sheets"].tolist(), [str(count) for count in table["sheets"]])
        axes.minorticks_off()
        axes.set_xlabel("number of sheets learned from")
        axes.set_ylabel("error, % rms of torque")
        axes.legend(frameon=False)
        return svg_of(figure)


def _ablation(page: Page, table: pd.DataFrame) -> None:
    page.heading("Each part left out")
    page.text(
        "One part left out and everything trained again, on the same held-out shops of five"
        " invented circles (make ablation). The error added without a part, with 90 % limits of the"
        " mean over the circles, is what the part is good for; rows of measured engines foretell"
        " one sheet of an engine from another. Smoothing, weights and the learned width reduce no"
        " error here; they are kept because they make curves without steps, count copies and"
        " doubtful sheets less, and widen the limits where less is known."
    )
    page.table(
        ["kind", "left out", "rms, %", "error added, %"],
        [
            [row["kind"], row["left_out"], f"{row['rms']:.2f}",
             f"{row['more']:+.2f} ({row['low']:+.2f} to {row['high']:+.2f})"]
            for row in table.to_dict(orient="records")
        ],
    )  # fmt: skip


def _limits(page: Page, table: pd.DataFrame) -> None:
    page.table(
        ["limits", "width of 90 % limits, %"],
        [[row["left_out"], f"{row['width']:.1f}"] for row in table.to_dict(orient="records")],
    )
