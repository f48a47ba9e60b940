"""An evaluation as tables for DVC and a chart."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from pullbook.charts import drawing
from pullbook.model.evaluation.prediction_errors import LEVELS
from pullbook.pipeline.physics.correction_factors import REFERENCE
from pullbook.pipeline.storage import csv_text, whole_writes
from pullbook.text.model_text import COVERAGE, ERRORS, NAMES, PICTURE

if TYPE_CHECKING:
    from pathlib import Path

    from pullbook.model.evaluation.evaluate import Evaluation


def write(found: Evaluation, metrics: dict[str, Any], folder: Path) -> None:
    """Write coverage and errors as tables, and a chart of both."""
    coverage = coverage_table(metrics)
    whole_writes.write_text(folder / COVERAGE, csv_text.of_table(coverage))
    errors = error_quantiles(found)
    whole_writes.write_text(folder / ERRORS, csv_text.of_table(errors, "%.3f"))
    _picture(coverage, errors, folder / PICTURE, found.held_out)


def coverage_table(metrics: dict[str, Any]) -> pd.DataFrame:
    """Return a row for each level: the level, and the share of held-out values inside."""
    rows = [
        {
            "level": level,
            "reading": metrics["coverage"]["reading"].get(str(level)),
            "whole curve": metrics["coverage"]["curve"].get(str(level)),
            "peak torque": metrics["coverage"]["peak_torque"].get(str(level)),
        }
        for level in LEVELS
    ]
    return pd.DataFrame(rows)


def error_quantiles(found: Evaluation) -> pd.DataFrame:
    """Return the error, %, that each share of sheets (0 to 1) does not exceed, by predictor."""
    readings = found.readings
    shares = np.linspace(0.02, 0.98, 49)
    table = pd.DataFrame({"share": shares})
    for name in NAMES:
        square = (100 * (readings[name] / readings["measured"] - 1)) ** 2
        of_sheet = np.sqrt(square.groupby(readings["sheet_id"]).mean())
        table[name] = of_sheet.quantile(shares).to_numpy()
    return table


def _picture(coverage: pd.DataFrame, errors: pd.DataFrame, path: Path, what: str) -> None:
    with mpl.rc_context(drawing.STYLE):
        figure = Figure(figsize=(drawing.WIDTH, 7.6), layout="constrained")
        FigureCanvasAgg(figure)
        top, bottom = figure.subplots(2, 1)
        for i, name in enumerate(NAMES):
            top.plot(
                errors[name],
                100 * errors["share"],
                color=drawing.COLOURS[i],
                linestyle=drawing.LINES[i],
                linewidth=2,
                label=NAMES[name],
            )
        top.set_xlim(0, float(errors.iloc[-3, 1:].max()))
        top.set_xlabel("error of a sheet's curve, % of torque (rms)")
        top.set_ylabel("sheets with no more error, %")
        top.legend(frameon=False, fontsize=10, loc="lower right")
        top.set_title(f"Error on new {what}s ({REFERENCE})", loc="left")
        bottom.plot([40, 100], [40, 100], color="#8b9096", linewidth=1)
        bottom.annotate("the level itself", (44, 44), xytext=(6, -12), textcoords="offset points",
                        color="#5b6268", fontsize=9)  # fmt: skip
        for i, name in enumerate(coverage.columns[1:]):
            bottom.plot(
                100 * coverage["level"],
                100 * coverage[name].astype(float),
                marker="osd"[i],
                color=drawing.COLOURS[i],
                linestyle=drawing.LINES[i],
                label=name,
            )
        bottom.set_xlabel("level of the limits, %")
        bottom.set_ylabel("measured values inside, %")
        bottom.legend(frameon=False, fontsize=10, loc="lower right")
        bottom.set_title("Do the limits hold?", loc="left")
        drawing.save(figure, path)
