"""Strata: counted right, and uncertain by shops rather than by sheets."""

import numpy as np
import pandas as pd
import pytest

from pullbook.model.evaluation import evaluate_differences, kinds_of_sheet
from pullbook.model.evaluation.evaluate import Evaluation

LEVEL = 0.9


@pytest.fixture
def found():
    """Twenty shops of five sheets: inside at the bottom of the sweep, not at the top."""
    rng = np.random.default_rng(0)
    readings, sheets = [], []
    for shop in range(20):
        for n in range(5):
            name = f"{shop}-{n}"
            rpm = np.linspace(2000, 5000, 12)
            measured = np.full(12, 300.0)
            predicted = 300 * (1 + 0.03 * rng.choice([-1, 1]))
            part = pd.DataFrame({
                "sheet_id": name, "shop": str(shop), "rpm": rpm, "measured": measured,
                "predicted": predicted, "nearest_sheet": 300 * 1.06, "inside_0.9": rpm < 4000,
                "width_0.9": 0.1,
            })  # fmt: skip
            readings.append(part)
            sheets.append({"sheet_id": name, "shop": str(shop), "standing": "inside",
                           "distance": n / 5, "given": 20 + n})  # fmt: skip
    return Evaluation(
        pd.concat(readings, ignore_index=True), pd.DataFrame(sheets), pd.DataFrame(), {}, "shop"
    )


def test_each_stratum_is_counted_right(found):
    table = kinds_of_sheet.by_kind(found.readings, found.sheets, LEVEL).set_index(["by", "stratum"])
    part = table.loc["part of the sweep"]
    assert part.loc["bottom third", "inside"] == 1
    assert part.loc["top third", "inside"] == 0
    whole = table.loc[("all", "all")]
    assert whole["sheets"] == 100
    assert whole["inside"] == pytest.approx(8 / 12)
    assert whole["error"] == pytest.approx(3)
    assert table.loc["distance to the data", "sheets"].sum() == 100


def test_a_gain_over_a_rule_is_told_with_its_uncertainty(found):
    gain, low, high = kinds_of_sheet.gain(found, "nearest_sheet")
    assert gain == pytest.approx(3)
    assert low <= gain <= high


def test_without_limits_there_is_nothing_to_hold(found):
    found.readings["inside_0.9"] = np.nan
    assert kinds_of_sheet.by_kind(found.readings, found.sheets, LEVEL)["inside"].isna().all()


def test_stated_chances_are_held_against_what_happened():
    """Pairs made so that the likelier one makes more just as often as was stated; and not so."""
    rng = np.random.default_rng(4)
    chance = rng.uniform(0.5, 1, 4000)
    honest = pd.DataFrame({
        "cluster": rng.integers(0, 40, 4000), "chance": chance,
        "right": (rng.uniform(size=4000) < chance).astype(float),
    })  # fmt: skip
    table = evaluate_differences.reliability(honest)
    assert table["pairs"].sum() == 4000
    assert (table["right"] - table["stated"]).abs().max() < 0.05
    boastful = honest.assign(right=(rng.uniform(size=4000) < 0.5).astype(float))
    assert (evaluate_differences.reliability(boastful)["high"] < table["stated"]).tolist()[1:] == [
        True
    ] * 4
    assert evaluate_differences.reliability(evaluate_differences.none()).empty
