"""What is said of a model in the terminal: what it can promise, and its accuracy."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.pipeline.physics.correction_factors import REFERENCE
from pullbook.text.prediction_text import PLACE, wrap
from pullbook.words import figures

if TYPE_CHECKING:
    from pullbook.model.trained.trained_model import Model
    from pullbook.model.training.start_from import Start

COVERAGE, ERRORS, PICTURE = "coverage.csv", "errors.csv", "held_out.svg"
NAMES = {
    "predicted": "this model",
    "nearest_sheet": "nearest sheet, scaled by size",
    "mean_per_cubic_inch": "mean torque per cubic inch",
}


def text(metrics: dict[str, Any]) -> str:
    """Return the accuracy figures as lines for the terminal."""
    lines = [
        f"{metrics['sheets']} sheets of {figures.counted(metrics['shops'], metrics['held_out'])};"
        f" each {metrics['held_out']} was held out once.",
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
        lines.append(f"  no limits: they need sheets of more {metrics['held_out']}s")
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


def learning(metrics: dict[str, Any]) -> list[str]:
    """Return how the error falls with one's own tests, and what more of them would likely bring."""
    curve = metrics.get("learning_curve")
    if curve is None:
        return []
    lines = [f"Error on {curve['engines']} engines left out, % of torque, by tests learned from:"]
    lines += [
        f"  {tests:5} tests {error:7.1f}"
        for tests, error in zip(curve["tests"], curve["error"], strict=True)
    ]
    lines += [f"  {NAMES[name]:30} {error:.1f}" for name, error in curve["rules"].items()]
    lines += [
        f"  {one['tests']:5} tests {one['error']:7.1f} likely ({one['low']:.1f} to"
        f" {one['high']:.1f} with other engines like yours)"
        for one in curve["ahead"]
    ]
    return lines


#: The level that answers have unless another one is asked for.
_LEVEL = 0.9
_FEWEST = 5


def promises(model: Model, start: Start | None) -> list[str]:
    """Return what a model can and cannot promise, and what to do about it."""
    return [*_start(model, start), *_limits(model, start)]


def _start(model: Model, start: Start | None) -> list[str]:
    if not model.own_dyno or start is None:
        return []
    if model.curve is None:
        return ["Starts from nothing: on engines left out the start did not help."]
    return [f"Starts from the other model at a weight of {model.effects.constants.weight:.2f}."]


def _limits(model: Model, start: Start | None) -> list[str]:
    if not model.own_dyno:
        return []
    engines = len(set(model.readings.labels[:, -1].tolist()))
    regime = model.regimes.get("own dyno")
    named = model.fields["engine"].notna().all()
    naming = [] if named else [
        "Sheets that name no engine count as one where shop, family, cylinders and bore agree;"
        " naming engines makes the limits sharper."
    ]  # fmt: skip
    if regime is None:
        lines = [
            f"No limits: they take {_FEWEST} engines to hold out, and there"
            f" {'is' if engines == 1 else 'are'} {engines}."
        ]
        if start is not None and len(start.learned):
            lines = [
                "No limits: the model to start from has learned from these sheets already, so they"
                " cannot check it. Ask that model itself, with --shop: it knows this shop."
            ]
        return [*lines, *naming]
    found = []
    groups = regime.point.groups
    if groups < figures.needed(_LEVEL):
        kept = figures.level(groups / (groups + 1))
        found.append(
            f"Limits are given at {kept} at most: {groups} engines were held out, and"
            f" {figures.level(_LEVEL)} limits take {figures.needed(_LEVEL)}."
        )
    measured = model.regimes.get("measured engine")
    again = 0 if measured is None else measured.point.groups
    if again < _FEWEST:
        found.append(
            f"No limits for parts changed on a measured engine: they take {_FEWEST} engines that"
            f" were tested more than once, and there {'is' if again == 1 else 'are'} {again}."
        )
    return [*found, *naming]
