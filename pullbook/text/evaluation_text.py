"""What an evaluation found, as tables for DVC, pictures, and lines for the terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    pass

COVERAGE, ERRORS, PICTURE = "coverage.csv", "errors.csv", "held_out.svg"
NAMES = {
    "predicted": "this model",
    "nearest_sheet": "nearest sheet, scaled by size",
    "mean_per_cubic_inch": "mean torque per cubic inch",
}


def text(metrics: dict[str, Any]) -> str:
    """Return the figures as lines for the terminal."""
    lines = [
        f"{metrics['sheets']} sheets of {metrics['shops']} shops, each shop held out once.",
        f"{'error, % of torque':32} {'rms':>7} {'median':>7} {'90th':>7}",
    ]
    for name, title in NAMES.items():
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
