"""What is said of a trained model: which limits it gives, and what it starts from."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pullbook.text import figures

if TYPE_CHECKING:
    from pullbook.model.trained.trained_model import Model
    from pullbook.model.training.start_from import Start

#: The level that answers have unless another one is asked for.
_LEVEL = 0.9
_FEWEST = 5


def lines(model: Model, start: Start | None) -> list[str]:
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
