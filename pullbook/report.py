"""What an evaluation found, as tables for DVC, pictures, and lines for the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from model.against import LEVELS
from pullbook import chart

if TYPE_CHECKING:
    from pathlib import Path

    from model.evaluate import Evaluation

COVERAGE, ERRORS, PICTURE = "coverage.csv", "errors.csv", "held_out.svg"
_NAMES = {
    "predicted": "this model",
    "nearest_sheet": "nearest sheet, scaled by size",
    "mean_per_cubic_inch": "mean torque per cubic inch",
}


def write(found: Evaluation, metrics: dict[str, Any], folder: Path) -> None:
    """Write coverage and errors as tables, and a picture of both."""
    coverage = coverage_table(metrics)
    coverage.to_csv(folder / COVERAGE, index=False, lineterminator="\n")
    errors = error_quantiles(found)
    errors.to_csv(folder / ERRORS, index=False, float_format="%.3f", lineterminator="\n")
    _picture(coverage, errors, folder / PICTURE)


def coverage_table(metrics: dict[str, Any]) -> pd.DataFrame:
    """Return a row a level: the level, and the share of held-out values inside."""
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
    """Return the share of sheets (0 to 1) whose error, %, is at most so large, by predictor."""
    readings = found.readings
    shares = np.linspace(0.02, 0.98, 49)
    table = pd.DataFrame({"share": shares})
    for name in _NAMES:
        square = (100 * (readings[name] / readings["measured"] - 1)) ** 2
        of_sheet = np.sqrt(square.groupby(readings["sheet_id"]).mean())
        table[name] = of_sheet.quantile(shares).to_numpy()
    return table


def _picture(coverage: pd.DataFrame, errors: pd.DataFrame, path: Path) -> None:
    with mpl.rc_context(chart.STYLE):
        figure = Figure(figsize=(chart.WIDTH, 7.6), layout="constrained")
        FigureCanvasAgg(figure)
        top, bottom = figure.subplots(2, 1)
        for i, name in enumerate(_NAMES):
            top.plot(
                errors[name],
                100 * errors["share"],
                color=chart.COLOURS[i],
                linestyle=chart.LINES[i],
                linewidth=2,
                label=_NAMES[name],
            )
        top.set_xlim(0, float(errors.iloc[-3, 1:].max()))
        top.set_xlabel("error of a sheet's curve, % of torque (root mean square)")
        top.set_ylabel("% of sheets with no more")
        top.legend(frameon=False, fontsize=10, loc="lower right")
        top.set_title("Error on shops never seen", loc="left")
        bottom.plot([40, 100], [40, 100], color="#8b9096", linewidth=1)
        bottom.annotate("as promised", (44, 44), xytext=(6, -12), textcoords="offset points",
                        color="#5b6268", fontsize=9)  # fmt: skip
        for i, name in enumerate(coverage.columns[1:]):
            bottom.plot(
                100 * coverage["level"],
                100 * coverage[name].astype(float),
                marker="osd"[i],
                color=chart.COLOURS[i],
                linestyle=chart.LINES[i],
                label=name,
            )
        bottom.set_xlabel("level of the limits, %")
        bottom.set_ylabel("% of measured values inside")
        bottom.legend(frameon=False, fontsize=10, loc="lower right")
        bottom.set_title("Do the limits hold?", loc="left")
        chart.save(figure, path)


def text(metrics: dict[str, Any]) -> str:
    """Return the figures as lines for the terminal."""
    lines = [
        f"{metrics['sheets']} sheets of {metrics['shops']} shops, each shop held out once.",
        f"{'error, % of torque':32} {'rms':>7} {'median':>7} {'90th':>7}",
    ]
    for name, title in _NAMES.items():
        error = metrics["error"][name]
        lines.append(
            f"  {title:30} {error['rms']:7.2f} {error['median_sheet']:7.2f}"
            f" {error['p90_sheet']:7.2f}"
        )
    lines.append(f"{'share inside the limits':32} {'reading':>7} {'curve':>7} {'peak':>7}")
    held = metrics["coverage"]
    for level, point in held["reading"].items():
        band, peak = held["curve"][level], held["peak_torque"][level]
        lines.append(f"  at {100 * float(level):4g} %{'':21} {point:7.3f} {band:7.3f} {peak:7.3f}")
    if not held["reading"]:
        lines.append("  too few shops for limits")
    for name, title in (("one_shop", "of one shop"), ("two_shops", "of two shops")):
        for level, apart in metrics["coverage_difference"].get(name, {}).items():
            if level == "0.9":
                lines.append(
                    f"difference of two builds {title}, 90 %: point {apart['point']:.3f}, mean over"
                    f" a band {apart['mean']:.3f}, at {apart['width_over_two_bands']:.2f} times the"
                    " width of two bands"
                )
    share = metrics["standing_share"]
    lines.append("standing: " + ", ".join(f"{100 * v:.1f} % {k}" for k, v in share.items()))
    return "\n".join(lines)
