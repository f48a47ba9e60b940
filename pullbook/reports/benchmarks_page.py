"""What benchmarks found, on the model's page: peers, learning curve, what each part is worth."""

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
    """Add to a page what the tables of a folder say; a table that is not there is left out."""
    for name, tell in ((PEERS, _peers), (LEARNING, _learning), (ABLATION, _ablation),
                       (LIMITS, _limits)):  # fmt: skip
        if (folder / name).is_file():
            tell(page, pd.read_csv(folder / name))


def _peers(page: Page, table: pd.DataFrame) -> None:
    page.heading("Beside other ways to predict")
    page.text(
        "Measured by make peers on the same shop folds, in % of torque; all but the plain one have"
        " the features and the target of the model. Limits are conformal over shops held out within"
        " what each may learn from (ten parts for the model, four for the peers; quantiles by"
        " conformalised quantile regression). The last two columns are the share of readings inside"
        " the 90 % limits, and how wide these are when scaled to hold exactly that share."
    )
    titles = {name: accuracy.FIGURES[name][2].removesuffix(", %") for name in _FIGURES}
    rows = [
        [row["predictor"], *(f"{row[name]:.2f}" for name in _FIGURES), f"{row['inside']:.3f}",
         f"{row['width_at_equal_coverage']:.1f}"]
        for row in table.to_dict(orient="records")
    ]  # fmt: skip
    page.table(["predictor", *titles.values(), "inside", "width at 90 %"], rows)
    own, others = table.iloc[0], table.iloc[1:]
    best = others.sort_values("rms").iloc[0]
    page.text(
        f"Limits over shops of the first column: {own['predictor']} {own['rms_low']:.2f} to"
        f" {own['rms_high']:.2f}; the next best, {best['predictor']}, {best['rms_low']:.2f} to"
        f" {best['rms_high']:.2f}."
    )


def _learning(page: Page, table: pd.DataFrame) -> None:
    page.heading("With more sheets")
    page.text("Error on shops never seen, % rms, by the number of sheets learned from (invented).")
    names = list(table.columns[2:])
    page.picture("model_learning.svg", _curve(table, names),
                 "Error against the number of sheets, for the model and the peers nearest to it at"
                 " the largest number.")  # fmt: skip
    page.table(
        ["predictor", *(f"{count} sheets" for count in table["sheets"])],
        [[name, *(f"{error:.2f}" for error in table[name])] for name in names],
    )


def _curve(table: pd.DataFrame, names: list[str]) -> bytes:
    drawn = [names[0], *table[names[1:]].iloc[-1].sort_values().index[: _DRAWN - 1]]
    with mpl.rc_context({**drawing.STYLE, "font.size": 9}):
        figure, axes = drawing.panel(3.6)
        for at, name in enumerate(drawn):
            axes.plot(table["sheets"], table[name], color=drawing.COLOURS[at], marker="osd^"[at],
                      markersize=4, linestyle=drawing.LINES[at], label=name)  # fmt: skip
        axes.set_xscale("log")
        axes.set_xticks(table["sheets"].tolist(), [str(count) for count in table["sheets"]])
        axes.minorticks_off()
        axes.set_xlabel("sheets learned from")
        axes.set_ylabel("error, % rms")
        axes.legend(frameon=False)
        return svg_of(figure)


def _ablation(page: Page, table: pd.DataFrame) -> None:
    page.heading("What each part is worth")
    page.text(
        "Measured by make ablation: one thing left out, everything learned again on the same shop"
        " folds. More error is what the thing saves; limits over shops. Smoothing, weights and the"
        " learned width save none here and stay for what error does not show: no stairs in a curve,"
        " copies and doubtful sheets that do not count in full, and limits that are wider where"
        " less is known."
    )
    page.table(
        ["of the", "left out", "rms, %", "more error"],
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
