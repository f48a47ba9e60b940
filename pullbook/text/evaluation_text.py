"""The accuracy of a model as lines for the terminal."""

from __future__ import annotations

from typing import Any

from pullbook.pipeline.physics.correction_factors import REFERENCE
from pullbook.text.prediction_text import PLACE, wrap

COVERAGE, ERRORS, PICTURE = "coverage.csv", "errors.csv", "held_out.svg"
NAMES = {
    "predicted": "this model",
    "nearest_sheet": "nearest sheet, scaled by size",
    "mean_per_cubic_inch": "mean torque per cubic inch",
}


def text(metrics: dict[str, Any]) -> str:
    """Return the accuracy figures as lines for the terminal."""
    lines = [
        f"{metrics['sheets']} sheets of {metrics['shops']} shops; each shop was held out once.",
        f"Torque at the flywheel ({REFERENCE}).",
        f"{'error, % of torque':32} {'rms':>7} {'median':>7} {'90th':>7}",
    ]
    for name, title in NAMES.items():
        error = metrics["error"][name]
        lines.append(
            f"  {title:30} {error['rms']:7.2f} {error['median_sheet']:7.2f}"
            f" {error['p90_sheet']:7.2f}"
        )
    lines.append(f"{'measured inside the limits, %':32} {'reading':>7} {'curve':>7} {'peak':>7}")
    held = metrics["coverage"]
    for level, point in held["reading"].items():
        shares = (point, held["curve"][level], held["peak_torque"][level])
        cells = " ".join(f"{100 * share:7.1f}" for share in shares)
        lines.append(f"  at {100 * float(level):4g} %{'':21} {cells}")
    if not held["reading"]:
        lines.append("  no limits: they need sheets of more shops")
    for name, title in (("one_shop", "on one shop's dyno"), ("two_shops", "on two shops' dynos")):
        for level, apart in metrics["coverage_difference"].get(name, {}).items():
            if level == "0.9":
                lines.append(
                    wrap(
                        f"Difference of two builds {title}: {100 * apart['point']:.1f} % at one"
                        f" speed and {100 * apart['mean']:.1f} % of means over a band are inside"
                        " its 90 % limits; these are"
                        f" {apart['width_over_two_bands']:.2f} times as wide as the two builds'"
                        " limits together"
                    )
                )
    share = metrics["standing_share"]
    lines.append("Builds: " + ", ".join(f"{100 * v:.0f} % {PLACE[k]}" for k, v in share.items()))
    return "\n".join(lines)
