"""Champion and challenger: a verdict that a bad batch cannot talk its way around."""

import dataclasses
import datetime as dt
import json

import numpy as np
import pandas as pd
import pytest
from command_line import run

from pullbook.model.learning.settings import Settings
from pullbook.model.prediction.predict import predict
from pullbook.model.review import judge, judgement, promotion_record, promotions
from pullbook.model.review.arrivals import arrivals, version_of
from pullbook.model.review.drift import DriftError, drift, keep
from pullbook.model.review.judgement import Rules, Verdict
from pullbook.model.review.moved_fields import moved
from pullbook.model.review.promotion_record import history
from pullbook.model.review.shop_reads import shop_reads
from pullbook.model.training import bundle, train_model
from pullbook.pipeline.curation import data_set, jury
from pullbook.pipeline.features import feature_table
from pullbook.schemas.errors import InputError
from pullbook.tasks import refitting

FEW = Settings(rounds=120, spread_rounds=30, folds=4, withheld=1)
NEWTON_METRES = 1.3558179483314004
RULES = Rules(fewest_shops=6)


def trained(builds, pulls, settings=FEW):
    builds = builds.reset_index(drop=True)
    own = pulls[pulls["sheet_id"].isin(builds["sheet_id"])].reset_index(drop=True)
    return train_model.train(builds, own, feature_table.fit(builds), settings)


def told(name, model):
    return model, {"id": name, "sheets": len(model.sheet_ids), "shops": len(model.shop_codes)}


@dataclasses.dataclass
class Months:
    """Sheets before and after a batch, some shops set aside, and the model in use."""

    builds: pd.DataFrame
    pulls: pd.DataFrame
    earlier: pd.DataFrame
    learn: pd.DataFrame
    old: train_model.Model


@pytest.fixture(scope="module")
def months(demo, once):
    """The last two years of the demo are the batch; the shop with most of it is the victim."""
    sound = [made.sheet_id for made in demo.made if "fault" not in made.extra]
    builds = demo.builds[demo.builds["sheet_id"].isin(sound)].reset_index(drop=True)
    late = builds["tested_on"].astype(str).str[:4].isin(["2024", "2025"])
    earlier = builds[~late].reset_index(drop=True)
    seated = jury.seats(builds["shop"], 0.25)
    learn = earlier[~jury.seats(earlier["shop"], 0.25)]
    old = once("champion", lambda _: trained(learn, demo.pulls))
    return Months(builds, demo.pulls, earlier, builds[~seated], old)


@pytest.fixture(scope="module")
def challenger(months, once):
    return once("challenger", lambda _: trained(months.learn, months.pulls))


def verdict(months, new, pulls=None, doubts=()):
    pulls = months.pulls if pulls is None else pulls
    both = told("old", months.old), told("new", new)
    return judge.judge(*both, months.builds, pulls, RULES, 0.9, doubts)


@pytest.fixture(scope="module")
def found(months, challenger):
    """The verdict on the challenger."""
    return verdict(months, challenger)


@pytest.fixture(scope="module")
def few(months):
    """The same months, of seven shops of the jury alone."""
    seated = months.builds[jury.seats(months.builds["shop"], 0.25)]
    kept = seated["shop"].isin(seated["shop"].unique()[:7])
    return dataclasses.replace(months, builds=seated[kept].reset_index(drop=True))


# --- the jury --------------------------------------------------------------------------------


def test_a_shop_that_sits_on_the_jury_does_so_whoever_else_contributes(months):
    whole = set(months.builds["shop"][jury.seats(months.builds["shop"], 0.25)])
    part = months.builds.sample(frac=0.3, random_state=1)
    assert set(part["shop"][jury.seats(part["shop"], 0.25)]) <= whole
    assert 5 < len(whole) < 25


def test_nobody_on_the_jury_is_learned_from(months, tmp_path):
    learn, seated, what = jury.split(months.builds, months.pulls, 0.25, tmp_path)
    mine, _ = data_set.load(tmp_path / "learn")
    theirs, pulls = data_set.load(tmp_path / "jury")
    assert not set(mine["shop"]) & set(theirs["shop"])
    assert (mine["shop"].nunique(), theirs["shop"].nunique()) == (learn, seated)
    assert what == "shop"
    assert len(mine) + len(theirs) == len(months.builds)
    assert set(pulls["sheet_id"]) == set(theirs["sheet_id"])


@pytest.mark.parametrize("share", [0.0, 1.0, 1e-12])
def test_a_jury_of_nobody_or_of_all_is_refused(months, share, tmp_path):
    with pytest.raises(jury.JuryError):
        jury.split(months.builds, months.pulls, share, tmp_path)


# --- the verdict -----------------------------------------------------------------------------


def test_a_model_against_itself_is_no_worse(few):
    found = verdict(few, few.old)
    assert found.verdict is Verdict.NO_WORSE
    assert all(one.difference == one.low == one.high == 0 for one in found.figures.values())


def test_only_shops_that_neither_has_seen_are_asked(months, challenger, found):
    seated = months.builds[jury.seats(months.builds["shop"], 0.25)]
    assert found.sheets == (seated["copies"] == 1).sum()
    assert found.shops <= seated["shop"].nunique()
    with pytest.raises(judge.JudgeError, match="no shop is new to both"):
        judge.judge(
            told("a", months.old), told("b", challenger), months.learn, months.pulls, RULES, 0.9
        )


def test_more_of_the_same_sheets_are_not_worse(found):
    assert found.verdict in {Verdict.BETTER, Verdict.NO_WORSE, Verdict.CANNOT_TELL}
    assert found.figures["rms"].low < 0.1


def test_the_figures_are_those_of_a_slow_clear_way(months, challenger, found):
    """Root mean square of relative error by sheet, by hand."""
    pulls = dict(list(months.pulls.groupby("sheet_id")))
    rows = judge.unseen(months.builds, months.old, challenger)
    asked = months.builds[rows].reset_index(drop=True)
    for model, figure in ((months.old, found.figures["rms"].old),
                          (challenger, found.figures["rms"].new)):  # fmt: skip
        squares = []
        for name, one in zip(asked["sheet_id"], predict(model, asked, [None] * len(asked)),
                             strict=True):  # fmt: skip
            pull = pulls[name]
            guess = one.torque(pull["rpm"].to_numpy(float))
            squares.append(np.mean((100 * (guess / pull["torque"].to_numpy() - 1)) ** 2))
        assert figure == pytest.approx(np.sqrt(np.mean(squares)), abs=1e-5)


@pytest.mark.slow
def test_a_model_of_mistaken_sheets_is_worse_and_not_promoted(months, tmp_path):
    """Half the sheets in N.m that were called lb-ft: the old model stays in use."""
    spoiled = months.pulls.copy()
    victims = months.learn["sheet_id"].sample(frac=0.5, random_state=2)
    spoiled.loc[spoiled["sheet_id"].isin(victims), ["torque", "power"]] *= NEWTON_METRES
    new = trained(months.learn, spoiled, dataclasses.replace(FEW, rounds=40, folds=2))
    bundle.save(months.old, tmp_path / "old")
    bundle.save(new, tmp_path / "new")
    both = bundle.load(tmp_path / "old"), bundle.load(tmp_path / "new")
    found = judge.judge(*both, months.builds, months.pulls, RULES, 0.9)
    assert found.verdict is Verdict.WORSE
    day = dt.date(2026, 1, 31)
    promotions.promote(tmp_path / "old", tmp_path / "models", None, day)
    with pytest.raises(promotions.PromotionError, match=r"'worse'.*although"):
        promotions.promote(tmp_path / "new", tmp_path / "models", found.as_json(), day)
    assert promotion_record.current(tmp_path / "models").name == found.old.id


def test_limits_that_hold_less_than_they_did_are_worse(months, challenger):
    regime = challenger.regimes["new shop"]
    point = dataclasses.replace(regime.point, values=regime.point.values / 3)
    tight = {**challenger.regimes, "new shop": dataclasses.replace(regime, point=point)}
    found = verdict(months, dataclasses.replace(challenger, regimes=tight))
    assert found.verdict is Verdict.WORSE
    assert any("limits hold" in reason for reason in found.reasons)


def test_while_there_is_doubt_nothing_is_better(few):
    found = verdict(few, few.old, doubts=["a shop reads off"])
    assert found.verdict is Verdict.CANNOT_TELL
    assert found.reasons == ["a shop reads off"]


def test_a_bundle_is_not_judged_against_itself(months):
    both = told("old", months.old), told("old", months.old)
    with pytest.raises(judge.JudgeError, match="one and the same bundle, old"):
        judge.judge(*both, months.builds, months.pulls, RULES, 0.9)


def test_by_one_shop_nothing_is_told_whatever_the_rules_say(months, challenger):
    one = months.builds[jury.seats(months.builds["shop"], 0.25)]
    one = one[one["shop"] == one["shop"].iloc[0]]
    rules = dataclasses.replace(RULES, fewest_shops=0)
    both = told("old", months.old), told("new", challenger)
    found = judge.judge(*both, one, months.pulls, rules, 0.9)
    assert found.verdict is Verdict.CANNOT_TELL


def test_with_few_shops_it_cannot_be_told(few):
    rules = dataclasses.replace(RULES, fewest_shops=99)
    both = told("old", few.old), told("new", few.old)
    found = judge.judge(*both, few.builds, few.pulls, rules, 0.9)
    assert found.verdict is Verdict.CANNOT_TELL
    assert "too few" in found.reasons[0]


@pytest.mark.parametrize("given", [{"mood": 1}, {"error_margin": "much"}, {"score_margin": -1}])
def test_a_rule_that_is_none_is_refused(given):
    with pytest.raises(ValueError, match="rule"):
        judgement.rules_from(given)


# --- the newest sheets -----------------------------------------------------------------------


def news(months, pulls=None):
    pulls = months.pulls if pulls is None else pulls
    return drift(months.old, {"id": "old"}, months.builds, pulls, months.earlier)


def test_what_is_new_is_told_from_what_changed_and_what_went(months):
    now = months.builds.copy()
    now.loc[now["sheet_id"] == months.earlier["sheet_id"][3], "content"] = "otherwise"
    now = now[now["sheet_id"] != months.earlier["sheet_id"][5]]
    found = arrivals(now, months.earlier)
    assert found.changed == [months.earlier["sheet_id"][3]]
    assert found.gone == [months.earlier["sheet_id"][5]]
    assert found.new.sum() == len(months.builds) - len(months.earlier) + 1


def test_sound_sheets_raise_no_doubt_and_the_old_models_limits_hold_on_them(months):
    found = news(months)
    assert found.doubts == []
    assert found.record["sheets"] > 100
    assert 0.8 < found.record["reading_0.9"] <= 1
    assert not any(one.drifted for one in found.fields if one.field in {"bore", "stroke"})


def test_a_batch_in_the_wrong_unit_is_in_doubt(months):
    late = ~months.builds["content"].isin(months.earlier["content"])
    spoiled = months.pulls.copy()
    rows = spoiled["sheet_id"].isin(months.builds["sheet_id"][late])
    spoiled.loc[rows, ["torque", "power"]] *= NEWTON_METRES
    found = news(months, spoiled)
    assert any("as a whole" in doubt for doubt in found.doubts)
    assert found.record["reads_high"] == pytest.approx(35, abs=5)


def test_one_shops_year_that_reads_nine_percent_high_is_in_doubt(months):
    """The shop with most new sheets; of the forty others one at most is near enough to be named."""
    late = ~months.builds["content"].isin(months.earlier["content"])
    victim = knownshop_reads(months)[0]
    rows = late & (months.builds["shop"] == victim)
    assert rows.sum() >= 3
    spoiled = months.pulls.copy()
    off = spoiled["sheet_id"].isin(months.builds["sheet_id"][rows])
    spoiled.loc[off, ["torque", "power"]] *= 1.09
    found = news(months, spoiled)
    assert any(f"shop {victim[:8]} reads +" in doubt for doubt in found.doubts)
    assert len(found.doubts) <= 2


def spoiled(months, shops, factor):
    """Return the pulls with those of the new sheets of some shops times a number."""
    late = ~months.builds["content"].isin(months.earlier["content"])
    off = months.builds["sheet_id"][late & months.builds["shop"].isin(shops)]
    pulls = months.pulls.copy()
    pulls.loc[pulls["sheet_id"].isin(off), ["torque", "power"]] *= factor
    return pulls


def knownshop_reads(months, sheets=3):
    """Return the known shops with so many new sheets that are not outside the data, most first."""
    found = [one for one in news(months).shops if one.known and one.sheets >= sheets]
    return [one.shop for one in sorted(found, key=lambda one: -one.sheets)]


@pytest.mark.parametrize("count", [1, 2])
def test_a_batch_of_a_shop_or_two_is_in_doubt_though_they_agree(months, count):
    shops = knownshop_reads(months)[:count]
    late = ~months.builds["content"].isin(months.earlier["content"])
    kept = months.builds[~late | months.builds["shop"].isin(shops)].reset_index(drop=True)
    pulls = spoiled(months, shops, NEWTON_METRES)
    found = drift(months.old, {"id": "old"}, kept, pulls, months.earlier)
    named = [shop for shop in shops if any(f"shop {shop[:8]} reads +" in d for d in found.doubts)]
    assert named == shops
    assert [one["doubtful"] for one in found.as_json()["shops"]] == [True] * count


def test_sheets_of_one_engine_say_less_of_a_shop_than_sheets_of_many():
    rng = np.random.default_rng(2)
    shops = np.repeat([f"{n:032x}" for n in range(12)], 12)
    series = np.where(np.arange(144) < 12, 0, np.arange(144))  # the first shop's are one engine
    fresh = pd.DataFrame(
        {"shop": shops, "family": "petrel-six", "engine": [f"e{n}" for n in series],
         "cylinders": 6, "bore": 3.9, "displacement": 270.0}
    )  # fmt: skip
    off = rng.normal(0, 0.02, 144)
    known = pd.Series(50, index=sorted(set(shops)))
    found = {one.shop: one.error for one in shop_reads(fresh, off, known)}
    others = [error for shop, error in found.items() if shop != shops[0]]
    assert found[shops[0]] > 2 * max(others)


def test_one_engine_with_many_sheets_is_no_drift_of_the_fields(months):
    """Thirty sheets of one big engine beside thirty others: by sheets the bore would have moved."""
    one = months.earlier.nlargest(1, "bore").assign(engine="the big one")
    series = months.earlier.iloc[np.repeat(one.index, 30)].assign(engine="the big one")
    others = months.earlier.drop_duplicates("engine").iloc[:30]
    fresh = pd.concat([others, series], ignore_index=True).astype(months.earlier.dtypes.to_dict())
    by_engine, by_sheet = (
        {field.field: field for field in moved(some, months.earlier)}["bore"]
        for some in (fresh, fresh.assign(engine=[f"e{n}" for n in range(len(fresh))]))
    )
    assert by_sheet.drifted
    assert by_engine.shift < by_sheet.shift / 3
    assert not by_engine.drifted


@pytest.mark.slow
def test_a_shop_that_is_off_pulls_no_other_with_it(months):
    victim, *others = knownshop_reads(months)
    before, after = news(months), news(months, spoiled(months, [victim], NEWTON_METRES))
    apart = [{one.shop: one.offset for one in found.shops} for found in (before, after)]
    assert apart[1][victim] - apart[0][victim] == pytest.approx(np.log(NEWTON_METRES), abs=0.01)
    assert [apart[0][shop] for shop in others] == [apart[1][shop] for shop in others]


def test_a_model_that_has_learned_from_the_new_sheets_is_no_test_of_them(months, challenger):
    with pytest.raises(DriftError, match="was trained on"):
        drift(challenger, {"id": "new"}, months.builds, months.pulls, months.earlier)


def test_data_sets_that_were_swapped_are_told(months):
    with pytest.raises(DriftError, match="swapped"):
        drift(months.old, {"id": "old"}, months.earlier, months.pulls, months.builds)


def test_the_record_grows_and_says_each_thing_once(months):
    line = news(months).record
    one = keep(None, line)
    assert len(keep(one, line)) == 1
    two = keep(one, {**line, "bundle": "another"})
    assert two["bundle"].tolist() == ["old", "another"]
    assert version_of(months.builds) == version_of(months.builds.sample(frac=1, random_state=1))


# --- promotion -------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def bundles(months, challenger, tmp_path_factory):
    folder = tmp_path_factory.mktemp("bundles")
    return {
        name: (folder / name, bundle.save(model, folder / name))
        for name, model in (("old", months.old), ("new", challenger))
    }


def judged(bundles, outcome):
    return {
        "old": {"id": bundles["old"][1]}, "new": {"id": bundles["new"][1]}, "verdict": outcome,
        "reasons": ["so it is"],
    }  # fmt: skip


def test_what_is_good_enough_is_promoted_recorded_and_taken_back(bundles, tmp_path):
    models, day = tmp_path / "models", dt.date(2026, 2, 28)
    (old, old_id), (new, new_id) = bundles["old"], bundles["new"]
    assert promotions.promote(old, models, None, day).verdict == "first"
    done = promotions.promote(new, models, judged(bundles, "no worse"), day)
    assert (done.before, done.bundle) == (old_id, new_id)
    assert promotion_record.current(models).name == new_id
    bundle.load(promotion_record.current(models))
    assert promotions.back(models, day, "it read low").bundle == old_id
    assert [one.verdict for one in history(models)] == [
        "first",
        "no worse",
        "back",
    ]
    with pytest.raises(promotions.PromotionError, match="no earlier"):
        promotions.back(models, day)


@pytest.mark.parametrize("outcome", ["worse", "cannot tell", None])
def test_what_is_not_good_enough_is_promoted_only_with_a_reason(bundles, outcome, tmp_path):
    models, day = tmp_path / "models", dt.date(2026, 2, 28)
    promotions.promote(bundles["old"][0], models, None, day)
    judgement = None if outcome is None else judged(bundles, outcome)
    with pytest.raises(promotions.PromotionError, match="although"):
        promotions.promote(bundles["new"][0], models, judgement, day)
    done = promotions.promote(bundles["new"][0], models, judgement, day, "the old one is withdrawn")
    assert done.why == "the old one is withdrawn"


def test_a_judgement_of_other_bundles_counts_for_nothing(bundles, tmp_path):
    models, day = tmp_path / "models", dt.date(2026, 2, 28)
    promotions.promote(bundles["old"][0], models, None, day)
    other = {**judged(bundles, "better"), "new": {"id": "another"}}
    with pytest.raises(promotions.PromotionError, match="not judged"):
        promotions.promote(bundles["new"][0], models, other, day)
    with pytest.raises(promotions.PromotionError, match="not written by pullbook judge"):
        promotions.promote(bundles["new"][0], models, {"verdict": "splendid"}, day)


def test_a_refit_is_recorded_and_the_judged_bundle_stands_for_it(
    months, bundles, tmp_path, monkeypatch
):
    """Training itself is tested elsewhere: here the challenger stands for what it gives."""
    models, day = tmp_path / "models", dt.date(2026, 2, 28)
    data = tmp_path / "curated"
    data_set.write(data, {data_set.BUILDS: months.builds, data_set.PULLS: months.pulls})
    (old, old_id), (new, _) = bundles["old"], bundles["new"]
    models.mkdir()
    with pytest.raises(InputError, match="no bundle in use"):
        refitting.refit(data, models, None, day, print, iter)
    promotions.promote(old, models, None, day)
    asked = []

    def train(builds, _pulls, settings, *_):
        asked.append((len(builds), settings))
        return bundle.load(new)[0], None

    monkeypatch.setattr(refitting.training, "train", train)
    done = refitting.refit(data, models, None, day, print, iter)
    assert asked == [(len(months.builds), months.old.settings)]
    assert (done.verdict, done.before) == ("refit", old_id)
    assert f"{len(months.builds)} sheets of" in done.why
    assert promotion_record.current(models).name == done.bundle != old_id
    assert promotions.judged(models).name == old_id
    with pytest.raises(InputError, match="refitted from"):
        refitting.refit(data, models, None, day, print, iter)
    assert promotions.back(models, day).bundle == old_id
    assert promotions.judged(models).name == old_id
    few = tmp_path / "few"
    data_set.write(few, {data_set.BUILDS: months.builds.head(5), data_set.PULLS: months.pulls})
    with pytest.raises(InputError, match="lacks"):
        refitting.refit(few, models, None, day, print, iter)


# --- the commands ----------------------------------------------------------------------------


@pytest.mark.slow
def test_the_month_as_an_analyst_runs_it(months, bundles, tmp_path):
    rows = {"curated": months.builds, "earlier": months.earlier}
    for name, builds in rows.items():
        own = months.pulls[months.pulls["sheet_id"].isin(builds["sheet_id"])]
        tables = {data_set.BUILDS: builds, data_set.PULLS: own.reset_index(drop=True)}
        data_set.write(tmp_path / name, tables)
    data, models, reports = tmp_path / "curated", tmp_path / "models", tmp_path / "reports"
    split = run("jury", data, "--share", 0.25, "--out", tmp_path / "split")
    assert split.returncode == 0, split.stderr
    assert run("promote", bundles["old"][0], "--into", models).returncode == 0
    told_ = run("report", "drift", data, "--since", tmp_path / "earlier", "--bundle", models,
                "--out", reports)  # fmt: skip
    assert told_.returncode == 0, told_.stderr
    assert "<svg" in (reports / "drift_shops.svg").read_text()
    assert "All batches so far" in (reports / "drift.md").read_text()
    (tmp_path / "p.yaml").write_text(
        "judge: {fewest_shops: 6, error_margin: 9, score_margin: 99}\n"
    )
    words = ("judge", models, bundles["new"][0], "--on", tmp_path / "split" / "jury", "--params",
             tmp_path / "p.yaml", "--drift", reports / "drift.json", "--out", reports)  # fmt: skip
    done = run(*words)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "that neither has learned from" in done.stdout
    assert json.loads(run(*words, "--json").stdout)["verdict"] in {"better", "no worse"}
    other = tmp_path / "other.json"
    other.write_text((reports / "drift.json").read_text().replace(bundles["old"][1], "another"))
    refused = run(*(other if word == reports / "drift.json" else word for word in words))
    assert refused.returncode == 2
    assert "is of bundle another" in " ".join(refused.stderr.split())
    page = (reports / "judgement.html").read_text()
    assert "Verdict: " in page
    promoted = run("promote", bundles["new"][0], "--into", models, "--judgement",
                   reports / "judgement.json")  # fmt: skip
    assert promoted.returncode == 0, promoted.stderr
    build = tmp_path / "b.yaml"
    build.write_text("bore: 4.03\nstroke: 3.48\ncylinders: 8\n")
    answer = json.loads(run("predict", build, "--bundle", models, "--json").stdout)
    assert answer["bundle"]["id"] == bundles["new"][1]
    assert run("promote", "--back", "--into", models).returncode == 0
    answer = json.loads(run("predict", build, "--bundle", models, "--json").stdout)
    assert answer["bundle"]["id"] == bundles["old"][1]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("promote", "--into", "x"), "--back"),
        (("promote", "--back", "--into", "nowhere"), "nowhere does not exist"),
        (("promote", "nowhere", "--into", "x"), "nowhere does not exist"),
        (("jury", "nowhere", "--out", "x"), "nowhere does not exist"),
        (("judge", ".", ".", "--on", "."), "no curated data set"),
        (("report", "drift", "nowhere", "--since", "x", "--bundle", "x", "--out", "x"),
         "nowhere does not exist"),
    ],
)  # fmt: skip
def test_what_cannot_be_done_is_one_sentence(words, said, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = run(*words)
    assert done.returncode == 2
    assert said in " ".join(done.stderr.split())
