"""Sheets judged by one another: copies, barometers, and shops against the consensus."""

import numpy as np
import pandas as pd
import pytest
from valid_sheet import PULL, sheet_text

from pullbook.pipeline.checks import similar_sheets
from pullbook.pipeline.curation import shop_consensus
from pullbook.pipeline.curation.curate import curate
from pullbook.pipeline.privacy.contribute import contribute

KEY = b"a key for the tests alone"
RPM = np.arange(2000, 5001, 250.0)


def curves(*torques):
    sheet = np.repeat(np.arange(len(torques)), len(RPM))
    return sheet, np.tile(RPM, len(torques)), np.concatenate(torques)


def noisy(rng, level=0.003):
    return 250 * np.exp(-(((RPM - 3400) / 4000) ** 2) + rng.normal(0, level, len(RPM)))


def test_copies_are_found_across_rounding_and_scale_and_two_pulls_are_none():
    rng = np.random.default_rng(4)
    one = noisy(rng)
    rounded = np.round(one * 1.3558179, 1) / 1.3558179
    found = similar_sheets.copies(
        np.full(5, 54.0), *curves(one, rounded, one * 0.961, noisy(rng), noisy(rng))
    )
    assert found.counts.tolist() == [3, 3, 3, 1, 1]
    reported = dict(similar_sheets.report_copies(found, list("abcde")))
    assert reported[0].code == "copy"
    assert {reported[2].code} == {"near-copy"}
    assert "1.04" in reported[2].message or "0.961" in reported[2].message


def test_copies_are_found_whatever_the_order_and_number_of_their_readings(monkeypatch):
    """Readings upside down, thinned, one twice; and pairs are compared three at a time."""
    monkeypatch.setattr(similar_sheets, "_PAIRS", 3)
    one, rng = noisy(np.random.default_rng(4)), np.random.default_rng(5)
    down, thin, twice = slice(None, None, -1), slice(2, 9), np.r_[: len(RPM), 3]
    parts = [(RPM[at], one[at]) for at in (slice(None), down, thin, twice)]
    parts += [(RPM, one * np.exp(rng.normal(0, 0.003, len(RPM)))) for _ in range(4)]
    sheet = np.repeat(np.arange(len(parts)), [len(rpm) for rpm, _ in parts])
    rpm, torque = (np.concatenate(column) for column in zip(*parts, strict=True))
    found = similar_sheets.copies(np.full(len(parts), 54.0), sheet, rpm, torque)
    assert found.counts.tolist() == [4, 4, 4, 4, 1, 1, 1, 1]
    assert found.pairs[:, 2] == pytest.approx(1)
    assert len(found.pairs) == 6


def test_the_same_curve_of_another_size_is_no_copy():
    one = noisy(np.random.default_rng(4))
    found = similar_sheets.copies(np.array([54.0, 55.0]), *curves(one, one))
    assert found.counts.tolist() == [1, 1]


def test_few_false_copies_among_repeated_pulls():
    """Five hundred engines pulled twice, with the repeatability of a good dyno."""
    rng = np.random.default_rng(5)
    torques = [noisy(rng, 0.0025) for _ in range(1000)]
    found = similar_sheets.copies(np.repeat(np.linspace(40, 90, 500), 2), *curves(*torques))
    assert len(found.pairs) == 0


def test_a_copy_in_other_units_from_another_shop_is_told_and_shares_its_weight(tmp_path):
    rows = [
        ("rpm", "torque (lb-ft)"),
        *(
            (f"{r:.0f}", f"{t:.1f}")
            for r, t in zip(RPM, noisy(np.random.default_rng(1)), strict=True)
        ),
    ]
    metric = [("rpm", "torque (N.m)"), *((r, f"{float(t) * 1.3558179:.1f}") for r, t in rows[1:])]
    other = [
        ("rpm", "torque (lb-ft)"),
        *(
            (f"{r:.0f}", f"{t:.1f}")
            for r, t in zip(RPM, noisy(np.random.default_rng(2)), strict=True)
        ),
    ]
    folder = tmp_path / "in"
    folder.mkdir()
    for name, shop, pull in (
        ("a", "Tern Quay", rows),
        ("b", "Otter Weir", metric),
        ("c", "Reed", other),
    ):
        (folder / f"{name}.csv").write_text(sheet_text({"sheet_id": name, "shop": shop}, pull))
    contribute([folder], tmp_path / "out", KEY)
    found = curate([tmp_path / "out"])
    assert found.builds["copies"].tolist() == [2, 2, 1]
    assert sorted(found.findings.loc[found.findings["code"] == "copy", "sheet_id"]) == ["a", "b"]


def test_a_barometer_unlike_the_shops_others():
    builds = pd.DataFrame(
        {"shop": ["a"] * 5 + ["b"] * 5,
         "barometer": [24.9, 25.0, 29.9, 24.8, 25.1, 29.7, 29.9, 30.1, 29.5, None]}
    )  # fmt: skip
    assert [place for place, _ in similar_sheets.report_barometers(builds)] == [2]


@pytest.fixture
def shifted(demo):
    """Return a function that multiplies all torque of one shop of the demo."""

    def shift(shop, factor):
        own = demo.builds.loc[demo.builds["shop"] == shop, "sheet_id"]
        pulls = demo.pulls.copy()
        pulls.loc[pulls["sheet_id"].isin(own), "torque"] *= factor
        return pulls

    return shift


def test_the_consensus_finds_how_shops_read(demo):
    """Against what the invented shops were made to read, which no sheet tells."""
    found = shop_consensus.readings_of_shops(demo.builds, demo.pulls).set_index("shop")
    made = {m.sheet_id: m.shop for m in demo.made}
    truth = pd.Series(
        {code: np.log(made[name].bias) for code, name in
         demo.builds.groupby("shop")["sheet_id"].first().items() if not made[name].chassis}
    )  # fmt: skip
    found = found.loc[truth.index]
    assert np.corrcoef(found["offset"], truth)[0, 1] > 0.65
    inside = (found["offset"] - truth).abs() <= 2 * found["error"]
    assert inside.mean() > 0.8


def test_a_shop_that_is_off_by_six_percent_is_told_and_nothing_is_changed(demo, shifted):
    counts = demo.builds["shop"].value_counts()
    shop = counts.index[(counts >= 10) & (counts <= 25)][0]
    before = shop_consensus.readings_of_shops(demo.builds, demo.pulls).set_index("shop")
    pulls = shifted(shop, 1.08)
    after = shop_consensus.readings_of_shops(demo.builds, pulls).set_index("shop")
    assert after.loc[shop, "offset"] - before.loc[shop, "offset"] > 0.05
    reported = shop_consensus.report_shops(after.reset_index(), demo.builds)
    places = {place for place, _ in reported}
    assert set(np.flatnonzero(demo.builds["shop"] == shop)) <= places


def test_too_few_agree_on_nothing(demo):
    few = demo.builds.iloc[:20]
    assert shop_consensus.readings_of_shops(few, demo.pulls).empty


def test_short_sheets_that_say_the_same_are_copies(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    for i in range(3):
        (folder / f"{i}.csv").write_text(sheet_text({"sheet_id": f"s{i}"}, PULL))
    contribute([folder], tmp_path / "out", KEY)
    assert curate([tmp_path / "out"]).builds["copies"].tolist() == [3, 3, 3]


def test_the_error_of_a_shops_reading_holds_where_families_err_together():
    """Two hundred invented worlds: two standard errors hold the effect as often as they should."""
    rng = np.random.default_rng(3)
    inside = []
    for _ in range(200):
        shop = np.repeat(np.arange(25), 12)
        part = shop * 3 + rng.integers(0, 3, len(shop))
        part = pd.factorize(part)[0]
        effect = rng.normal(0, 0.02, 25)
        residual = effect[shop] + rng.normal(0, 0.015, 100)[part] + rng.normal(0, 0.03, len(shop))
        found = shop_consensus.nested(residual, shop, part)
        inside.append(np.abs(found.offset - effect) <= 2 * found.error)
    assert 0.9 < np.mean(inside) < 0.98  # the components themselves are estimates
