"""Accuracy as pictures: how limits and stated chances hold."""

from __future__ import annotations

from typing import TYPE_CHECKING

import matplotlib as mpl
import numpy as np

from pullbook.charts import drawing
from pullbook.charts.drawing import svg_of
from pullbook.model.evaluation.prediction_errors import LEVEL

if TYPE_CHECKING:
    import pandas as pd


def tenths(table: pd.DataFrame) -> bytes:
    """Return a bar a tenth of the predicted range, from `kinds_of_sheet.pit`."""
    with mpl.rc_context({**drawing.STYLE, "font.size": 9}):
        figure, axes = drawing.panel(2.9)
        drawing.page_title(figure, "Readings in each tenth of the predicted range")
        share = 100 * table["share"].to_numpy(float)
        middle = 50 * (table["from"] + table["to"]).to_numpy(float)
        bars = np.abs(100 * np.vstack([table["low"], table["high"]]).astype(float) - share)
        axes.bar(middle, share, width=90 / len(table), color=drawing.COLOURS[0], alpha=0.6)
        axes.errorbar(middle, share, yerr=bars, fmt="none", ecolor="#30363b", elinewidth=1)
        axes.axhline(100 / len(table), color="#8b9096", linewidth=1)
        axes.set_xlabel("place of the reading in the predicted range, %")
        axes.set_ylabel("readings, %")
        return svg_of(figure)


def chances(table: pd.DataFrame) -> bytes:
    """Return stated chances against what happened, from `evaluate_differences.reliability`."""
    with mpl.rc_context({**drawing.STYLE, "font.size": 9}):
        figure, axes = drawing.panel(3.2)
        drawing.page_title(figure, "Stated chances and what happened")
        stated, right = 100 * table["stated"], 100 * table["right"]
        bars = np.abs(100 * table[["low", "high"]].to_numpy(float).T - right.to_numpy(float))
        axes.plot([50, 100], [50, 100], color="#8b9096", linewidth=1)
        axes.errorbar(stated, right, yerr=bars, fmt="o", color=drawing.COLOURS[0], markersize=5,
                      elinewidth=1)  # fmt: skip
        axes.set_xlabel("stated chance that one of two makes more, %")
        axes.set_ylabel("pairs in which it did, %")
        return svg_of(figure)


def kinds(table: pd.DataFrame) -> bytes:
    """Return a dot a kind of sheet, from `kinds_of_sheet.by_kind`."""
    with mpl.rc_context({**drawing.STYLE, "font.size": 9}):
        figure, axes = drawing.panel(1.2 + 0.27 * len(table))
        drawing.page_title(
            figure, f"Readings inside the {100 * LEVEL:g} % limits, by kind of sheet"
        )
        places = np.arange(len(table))
        inside = 100 * table["inside"].to_numpy(float)
        bars = np.abs(100 * np.vstack([table["low"], table["high"]]).astype(float) - inside)
        axes.axvline(100 * LEVEL, color="#8b9096", linewidth=1)
        axes.errorbar(inside, places, xerr=bars, fmt="o", color=drawing.COLOURS[0], markersize=4,
                      elinewidth=1)  # fmt: skip
        labels = [f"{by}: {s}" if by != "all" else "all" for by, s in
                  zip(table["by"], table["stratum"], strict=True)]  # fmt: skip
        axes.set_yticks(places, labels)
        axes.invert_yaxis()
        axes.set_xlabel("readings inside the limits, %")
        return svg_of(figure)
