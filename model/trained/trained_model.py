"""A trained model: everything needed to predict a build."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from pullbook.model.learning.boosted_trees import Trees
    from pullbook.model.learning.curve_model import CurveModel
    from pullbook.model.learning.effects import Process, Readings
    from pullbook.model.learning.sample import Floats
    from pullbook.model.learning.settings import Settings
    from pullbook.model.limits.calibration import Regime
    from pullbook.model.limits.difference_errors import PairScores
    from pullbook.model.range.novelty import Reference
    from pullbook.model.range.tested_changes import TestedChanges
    from pullbook.model.range.unseen_combinations import TestedCombinations
    from pullbook.pipeline.features.fill_missing import Filling


@dataclass(frozen=True, slots=True)
class Model:
    """A trained model: everything needed to predict a build.

    Attributes
    ----------
    settings
        Settings of the training run.
    filling
        How missing fields are filled.
    speeds
        The grid of engine speeds, rev/min.
    curve
        The curve model, which effects start from; ``None`` where they start from nothing.
    effects
        Effects of parts, shops, families and engines beyond the curve: with the readings of all
        sheets where the data is of few shops, else as learned from sheets that were held out.
    readings
        A few readings of every sheet.
    own_dyno
        Whether answers come from the effects, since the data is of few shops.
    spread
        The trees of the expected error; ``None`` if nothing could be held out.
    reference
        The tested data.
    start_reference
        The tested data of what effects start from; ``None`` where they start from nothing.
    combinations
        The combinations of parts that were tested.
    regimes
        Scores of the limits by regime, of `calibration.REGIMES`; those that could be calibrated.
    pairs
        Scores of differences by what the two builds share, of `difference_errors.SHARED`; those
        that could be calibrated.
    shop_codes
        Codes of the shops.
    shop_offsets
        Offset of each shop from the model, on the logarithmic scale.
    sheet_ids
        Names of the sheets, in the order of the reference.
    sweeps
        Lowest and highest rpm of each sheet, shape (sheets, 2).
    fields
        The builds as given, from which values for a missing field are taken.
    changes
        The changes that were tested on one engine.
    """

    settings: Settings
    filling: Filling
    speeds: Floats
    curve: CurveModel | None
    effects: Process
    readings: Readings
    own_dyno: bool
    spread: Trees | None
    reference: Reference
    start_reference: Reference | None
    combinations: TestedCombinations
    regimes: Mapping[str, Regime]
    pairs: Mapping[str, PairScores]
    shop_codes: tuple[str, ...]
    shop_offsets: Floats
    sheet_ids: tuple[str, ...]
    sweeps: Floats
    fields: pd.DataFrame
    changes: TestedChanges
