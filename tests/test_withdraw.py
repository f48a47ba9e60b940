"""What a contributor asks back: left out, and nothing of it stays in what is made anew."""

import datetime as dt
import re
import shutil

import pandas as pd
import pytest
from command_line import run

from pullbook.pipeline.curation import curate, data_set
from pullbook.pipeline.privacy import anonymise, withdraw

DAY = dt.date(2026, 3, 31)


@pytest.fixture
def listed(tmp_path):
    return tmp_path / "withdrawn.csv"


@pytest.fixture(scope="module")
def shared(demo):
    return demo.folder / "shared"


@pytest.fixture(scope="module")
def victim(demo):
    """A sheet whose shop has others, one of them refused when it was contributed."""
    refused = {path.name[:8] for path in (demo.folder / "shared/refused").glob("*.csv")}
    own = demo.builds[demo.builds["shop"].str[:8].isin(refused)]
    return own.iloc[0]


def test_a_withdrawn_sheet_is_not_curated_and_the_others_are(demo, shared, victim, listed):
    withdraw.add(listed, victim["shop"], victim["sheet_id"], DAY, "a mistake")
    found = curate.curate([shared], withdrawn=withdraw.read(listed))
    assert found.withdrawn == 1
    assert set(demo.builds["sheet_id"]) - set(found.builds["sheet_id"]) == {victim["sheet_id"]}
    assert victim["sheet_id"] not in set(found.pulls["sheet_id"])
    assert victim["sheet_id"] not in set(found.findings["sheet_id"])


def test_of_a_withdrawn_shop_nothing_is_left_not_even_what_was_refused(
    demo, shared, victim, listed, tmp_path
):
    code = victim["shop"]
    withdraw.add(listed, code[:12], "", DAY, "asked")
    found = curate.curate([shared], withdrawn=withdraw.read(listed))
    found.write(tmp_path / "curated")
    gone = demo.builds[demo.builds["shop"] == code]
    assert found.withdrawn >= len(gone) > 1
    assert not set(gone["sheet_id"]) & set(found.builds["sheet_id"])
    assert not found.findings["source"].str.contains(code[:8]).any()
    assert list(withdraw.left([tmp_path / "curated"], withdraw.read(listed))) == []


def test_the_audit_finds_what_is_left_wherever_it_is(demo, shared, victim, listed, tmp_path):
    withdraw.add(listed, victim["shop"], "", DAY, "asked")
    (tmp_path / "page.md").write_text(f"| {victim['shop'][:8]} | reads high |\n")
    (tmp_path / "else.md").write_text("| 00000000 | reads high |\n")
    curated = tmp_path / "curated"
    data_set.write(curated, {data_set.BUILDS: demo.builds, data_set.PULLS: demo.pulls})
    places = [curated, demo.bundle, shared, tmp_path / "page.md", tmp_path / "else.md"]
    files = {file for file, _ in withdraw.left(places, withdraw.read(listed))}
    told = {file.relative_to(tmp_path) if tmp_path in file.parents else file.name for file in files}
    assert {"arrays.npz", "sheets.parquet"} <= {str(name) for name in told}
    assert {"curated/builds.parquet", "page.md"} <= {str(name) for name in told}
    assert "else.md" not in {str(name) for name in told}
    assert any(shared / "accepted" in file.parents for file in files)


def test_a_sheet_is_looked_for_as_a_word(listed, tmp_path):
    withdraw.add(listed, "0123456789ab", "launch-12", DAY, "asked")
    for name, text in (("a", "the launch-12 is"), ("b", "launch-120"), ("c", "a-launch-12")):
        (tmp_path / f"{name}.md").write_text(text)
    found = withdraw.left([tmp_path], withdraw.read(listed))
    assert {file.name for file, _ in found} - {listed.name} == {"a.md"}


@pytest.mark.parametrize("text", ["a,b\n1,2\n", "shop,sheet_id,on,why\nTern Quay,,x,y\n"])
def test_a_list_that_is_none_is_refused(listed, text):
    listed.write_text(text)
    with pytest.raises(withdraw.WithdrawError, match=re.escape(str(listed))):
        withdraw.read(listed)


def test_the_commands_withdraw_train_anew_and_audit(demo, shared, tmp_path):
    """A shop goes by its name, with its key; after training anew nothing of it is left."""
    (tmp_path / "key").write_text((demo.key + b" " * 64).hex())
    name = demo.made[0].shop.name
    code = anonymise.code(demo.key, name)
    listed = ("--list", tmp_path / "list.csv")
    asked = run("withdraw", "--shop", code, "--why", "asked by letter", *listed)
    assert asked.returncode == 0, asked.stderr
    again = run("withdraw", "--shop", code, "--why", "again", *listed)
    assert again.returncode == 2
    assert "before" in again.stderr
    before = run("audit", shared, demo.bundle, *listed)
    assert before.returncode == 1
    assert "arrays.npz" in before.stderr
    (tmp_path / "p.yaml").write_text("train: {rounds: 20, folds: 2, spread_rounds: 5}\n")
    out = tmp_path / "curated"
    done = run("curate", shared, "--out", out, "--fresh", "--withdrawn", tmp_path / "list.csv")
    assert done.returncode == 0, done.stderr
    assert " withdrawn" in done.stdout
    trained = run("train", out, "--params", tmp_path / "p.yaml", "--out", tmp_path / "bundle")
    assert trained.returncode == 0, trained.stderr
    assert run("report", "curation", out, "--out", tmp_path / "reports").returncode == 0
    after = run("audit", out, tmp_path / "bundle", tmp_path / "reports", *listed)
    assert after.returncode == 0, after.stderr
    assert "nothing is left" in after.stdout
    assert code not in set(pd.read_parquet(out / "builds.parquet")["shop"])
    shutil.rmtree(out)
    missing = run("audit", out, *listed)
    assert missing.returncode == 2


def test_a_name_without_a_key_says_nothing(tmp_path):
    env = {"XDG_CONFIG_HOME": str(tmp_path), "HOME": str(tmp_path)}
    done = run("withdraw", "--shop", "Nobody Marine", "--why", "x", "--list", tmp_path / "l.csv",
               env=env)  # fmt: skip
    assert done.returncode == 2
    assert "is a name; to find the shop's code" in done.stderr


@pytest.mark.parametrize("code", ["3FA9C1D2", "3fa9c"])
def test_what_was_meant_as_a_code_is_not_taken_as_a_name(tmp_path, code):
    words = ("withdraw", "--shop", code, "--why", "asked", "--list", tmp_path / "list.csv")
    done = run(*words, "--key-file", tmp_path / "key")
    assert done.returncode == 2
    assert "is not a shop's code" in done.stderr
    assert not (tmp_path / "list.csv").exists()


def test_a_withdrawal_that_finds_nothing_is_told(shared, victim, listed, tmp_path):
    withdraw.add(listed, "deadbeef", "", DAY, "asked")
    withdraw.add(listed, victim["shop"], "spindrift-9999", DAY, "asked")
    withdraw.add(listed, victim["shop"], victim["sheet_id"], DAY, "asked")
    done = run("curate", shared, "--out", tmp_path / "c", "--withdrawn", listed)
    told = [line for line in done.stderr.splitlines() if "was not found here" in line]
    assert [line.split(" is withdrawn")[0] for line in told] == [
        "shop deadbeef", f"sheet spindrift-9999 of shop {victim['shop'][:8]}",
    ]  # fmt: skip


def test_a_withdrawal_says_why(listed):
    with pytest.raises(withdraw.WithdrawError, match="say why"):
        withdraw.add(listed, "deadbeef", "", DAY, " ")


def test_tables_that_name_no_shop_are_read_by_the_builds_beside_them(
    shared, victim, listed, tmp_path
):
    curate.curate([shared]).write(tmp_path / "curated")
    withdraw.add(listed, victim["shop"], "", DAY, "asked")
    asked = withdraw.read(listed)
    pulls = tmp_path / "curated" / data_set.PULLS
    assert [file for file, _ in withdraw.left([pulls], asked)] == [pulls]
    assert withdraw.blind([tmp_path / "curated"], asked) == []
    alone = tmp_path / "alone.parquet"
    shutil.copy(pulls, alone)
    assert withdraw.blind([alone], asked) == [alone]
    done = run("audit", alone, "--list", listed)
    assert done.returncode == 1
    assert "cannot be found in it" in " ".join(done.stderr.split())
