"""The sheets that the model finds hardest, with reasons that fit what was done to them."""

import numpy as np
import pandas as pd
import pytest

from pullbook.model.evaluation import hardest_sheets
from pullbook.model.evaluation.evaluate import Evaluation
from pullbook.reports import hardest_page

RPM = np.linspace(2000, 5000, 12)


def evaluated(factors, **sheet):
    """Return an evaluation of one sheet a factor, all else but the last 20 as predicted."""
    rng = np.random.default_rng(3)
    curves = [(f"odd-{n}", "odd", np.broadcast_to(f, 12)) for n, f in enumerate(factors)]
    curves += [
        (f"fine-{n}", f"shop-{n % 5}", 1 + 0.01 * rng.standard_normal(12)) for n in range(20)
    ]
    readings = pd.concat([
        pd.DataFrame({"sheet_id": name, "shop": shop, "rpm": RPM, "predicted": 300.0,
                      "measured": 300 * factor})
        for name, shop, factor in curves
    ])  # fmt: skip
    sheets = pd.DataFrame([
        {"sheet_id": name, "standing": "inside", "given": 20, **(sheet if shop == "odd" else {})}
        for name, shop, _ in curves
    ])  # fmt: skip
    return Evaluation(readings, sheets, pd.DataFrame(), {}, "shop")


@pytest.mark.parametrize(
    ("factor", "reason"),
    [
        (1.3558, "N.m may have been taken for lb-ft"),
        (0.7376, "lb-ft may have been taken for N.m"),
        (0.7457, "kW for hp"),
        (1.341, "hp for kW"),
        (0.85, "at the wheels"),
        (1.04, "its correction standard may be another"),
        (0.96, "its correction standard may be another"),
        (np.linspace(0.9, 1.1, 12), "more at the top than predicted and less low down"),
        (np.linspace(1.1, 0.9, 12), "more low down than predicted and less at the top"),
    ],
)
def test_a_curve_that_is_off_by_a_known_mistake_says_which(factor, reason):
    worst = hardest_sheets.hardest(evaluated([factor])).iloc[0]
    assert worst["sheet_id"] == "odd-0"
    assert len(worst["reasons"]) == 1
    assert reason in worst["reasons"][0]


def test_an_uneven_curve_is_no_mistaken_unit():
    uneven = 1.3558 + 0.25 * np.sin(np.arange(12))
    worst = hardest_sheets.hardest(evaluated([uneven])).iloc[0]
    assert not any("N.m" in one for one in worst["reasons"])


def test_a_shop_that_reads_high_is_told_from_a_sheet_that_does():
    table = hardest_sheets.hardest(evaluated([1.07, 1.08, 1.09, 1.08]))
    assert all("all sheets of this shop read high, 8 %" in row[-1] for row in table["reasons"][:4])
    assert not any("this shop" in text for row in table["reasons"][4:] for text in row)


def test_an_unusual_build_and_one_with_few_fields_are_said_to_be_so():
    worst = hardest_sheets.hardest(evaluated([1.2], standing="outside", given=6)).iloc[0]
    assert worst["reasons"] == [
        "few tests are like it, so it may be right", "only 6 fields of the build are given",
    ]  # fmt: skip


def test_a_wrong_field_is_found_by_leaving_it_out(demo):
    builds = demo.builds[demo.builds["intake_duration"].between(205, 215)].head(4).copy()
    pulls = {str(n): own for n, own in demo.pulls.groupby("sheet_id")}
    shops = [None] * len(builds)
    right = hardest_sheets.suspects(demo.model, builds, pulls, shops)
    assert "intake_duration" not in {one.field for one in right.values()}
    wrong = builds.assign(intake_duration=builds["intake_duration"] + 45)
    found = hardest_sheets.suspects(demo.model, wrong, pulls, shops)
    suspected = [found[name] for name in builds["sheet_id"] if name in found]
    assert sum(one.field == "intake_duration" for one in suspected) >= 2
    assert all(one.without < 0.6 * one.error for one in suspected)


def test_page_and_table_show_the_worst_first_and_run_no_formula(tmp_path):
    found = evaluated([1.3558])
    found.readings["sheet_id"] = found.readings["sheet_id"].replace("odd-0", "=1+1")
    found.sheets["sheet_id"] = found.sheets["sheet_id"].replace("odd-0", "=1+1")
    hardest_page.write(found, tmp_path)
    lines = (tmp_path / "hardest.csv").read_text().splitlines()
    assert lines[1].startswith("'=1+1,")
    assert "N.m may have been taken for lb-ft" in (tmp_path / "hardest.md").read_text()
