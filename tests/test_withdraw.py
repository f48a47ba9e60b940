"""What a shop asks back, signed: left out, and nothing of it stays in what is made anew."""

import json
import shutil

import pandas as pd
import pytest
from command_line import run
from valid_sheet import sheet_text

from pullbook.pipeline.curation import curate, data_set, withdrawn_traces
from pullbook.pipeline.privacy import anonymise, signatures, withdraw
from pullbook.pipeline.privacy.contribute import contribute
from pullbook.pipeline.privacy.key_file import Counts

LATE = 10_000


@pytest.fixture
def shared(demo, tmp_path):
    """The demo's contributions, to take sheets out of."""
    shutil.copytree(demo.folder / "shared", tmp_path / "shared")
    return tmp_path / "shared"


@pytest.fixture(scope="module")
def victim(demo):
    """A sheet whose shop has others, one of them refused when it was contributed."""
    refused = {path.name[:8] for path in (demo.folder / "shared/refused").glob("*.csv")}
    own = demo.builds[demo.builds["shop"].str[:8].isin(refused)]
    return own.iloc[0]


@pytest.fixture(scope="module")
def signer(demo, victim):
    """The shop of the victim, with its key."""
    names = {anonymise.code(demo.key, m.shop.name): m.shop.name for m in demo.made}
    return signatures.signer(demo.key, names[victim["shop"]])


@pytest.fixture
def asked(signer, victim, tmp_path):
    """A request for the victim, as a file."""
    path = tmp_path / "request.json"
    path.write_text(withdraw.request(signer, [victim["sheet_id"]], LATE).as_text())
    return path


@pytest.fixture
def asked_all(signer, tmp_path):
    """A request for all sheets of the victim's shop, as a file."""
    path = tmp_path / "request-all.json"
    path.write_text(withdraw.request(signer, [], LATE).as_text())
    return path


def test_a_withdrawn_sheet_is_gone_and_the_others_are_not(demo, shared, victim, asked):
    assert withdraw.apply(withdraw.read(asked), shared) == 1
    found = curate.curate([shared])
    assert set(demo.builds["sheet_id"]) - set(found.builds["sheet_id"]) == {victim["sheet_id"]}
    assert victim["sheet_id"] not in set(found.pulls["sheet_id"])
    assert victim["sheet_id"] not in set(found.findings["sheet_id"])


def test_a_withdrawn_sheet_that_comes_back_stays_out(demo, shared, victim, asked):
    withdraw.apply(withdraw.read(asked), shared)
    shutil.copytree(demo.folder / "shared/accepted", shared / "accepted", dirs_exist_ok=True)
    found = curate.curate([shared])
    assert found.withdrawn == 1
    assert victim["sheet_id"] not in set(found.builds["sheet_id"])
    elsewhere = curate.curate([demo.folder / "shared", shared])  # and from another folder too
    assert victim["sheet_id"] not in set(elsewhere.builds["sheet_id"])


def test_a_shop_may_contribute_anew_what_it_withdrew(tmp_path):
    key, counts = b"a key for the tests alone", Counts()
    (tmp_path / "a.csv").write_text(sheet_text())
    contribute([tmp_path / "a.csv"], tmp_path / "out", key, counts=counts)
    own = signatures.signer(key, "Tern Quay Marine")
    (count,) = counts.take(own.code, "Tern Quay Marine", 1)
    assert withdraw.apply(withdraw.request(own, ["tern-0417"], count), tmp_path / "out") == 1
    contribute([tmp_path / "a.csv"], tmp_path / "out", key, counts=counts)
    assert curate.curate([tmp_path / "out"]).builds["sheet_id"].tolist() == ["tern-0417"]


def test_of_a_withdrawn_shop_nothing_is_left_not_even_what_was_refused(
    demo, shared, victim, asked_all, tmp_path
):
    one = withdraw.read(asked_all)
    gone = demo.builds[demo.builds["shop"] == victim["shop"]]
    assert withdraw.apply(one, shared) >= len(gone) > 1
    found = curate.curate([shared])
    found.write(tmp_path / "curated")
    assert not set(gone["sheet_id"]) & set(found.builds["sheet_id"])
    assert not found.findings["source"].str.contains(victim["shop"][:8]).any()
    assert list(withdrawn_traces.left([tmp_path / "curated"], [one], pytest.fail)) == []


@pytest.mark.parametrize("forgery", ["another shop", "other sheets", "later", "by hand"])
def test_nobody_can_have_anothers_sheets_withdrawn(demo, shared, asked, forgery):
    record = json.loads(asked.read_text())
    if forgery == "another shop":
        other = signatures.signer(b"the key of somebody else", "Tern Quay Marine")
        record |= {"signer_signature": other.sign(withdraw.KIND, LATE, "[]").signature}
    elif forgery == "other sheets":
        record["sheets"] = []
    elif forgery == "later":
        record["signer_count"] = str(LATE + 1)
    else:
        del record["signer_signature"]
    asked.write_text(json.dumps(record))
    with pytest.raises(withdraw.WithdrawError, match="not signed by the shop"):
        withdraw.read(asked)
    done = run("withdraw", "--apply", asked, "--from", shared)
    assert done.returncode == 2
    (shared / withdraw.WITHDRAWN).mkdir()
    shutil.copy(asked, shared / withdraw.WITHDRAWN)
    assert set(curate.curate([shared]).builds["sheet_id"]) == set(demo.builds["sheet_id"])


def test_the_audit_finds_what_is_left_wherever_it_is(demo, shared, victim, asked_all, tmp_path):
    (tmp_path / "page.md").write_text(f"| {victim['shop'][:8]} | reads high |\n")
    (tmp_path / "else.md").write_text("| 00000000 | reads high |\n")
    curated = tmp_path / "curated"
    data_set.write(curated, {data_set.BUILDS: demo.builds, data_set.PULLS: demo.pulls})
    places = [curated, demo.bundle, shared, tmp_path / "page.md", tmp_path / "else.md"]
    asked = withdraw.read(asked_all)
    files = {file for file, _ in withdrawn_traces.left(places, [asked], pytest.fail)}
    told = {file.relative_to(tmp_path) if tmp_path in file.parents else file.name for file in files}
    assert {"arrays.npz", "sheets.parquet"} <= {str(name) for name in told}
    assert {"curated/builds.parquet", "page.md"} <= {str(name) for name in told}
    assert "else.md" not in {str(name) for name in told}
    assert any(shared / "accepted" in file.parents for file in files)


def test_a_sheet_is_looked_for_as_a_word(signer, tmp_path):
    one = withdraw.request(signer, ["launch-12"], 1)
    for name, text in (("a", "the launch-12 is"), ("b", "launch-120"), ("c", "a-launch-12")):
        (tmp_path / f"{name}.md").write_text(text)
    found = withdrawn_traces.left([tmp_path], [one], pytest.fail)
    assert {file.name for file, _ in found} == {"a.md"}


@pytest.mark.parametrize("text", ["a,b\n", "[]", "{}", '{"format": "x", "sheets": 3}'])
def test_a_file_that_is_no_request_is_refused(asked, text):
    asked.write_text(text)
    with pytest.raises(withdraw.WithdrawError, match="request"):
        withdraw.read(asked)


@pytest.mark.slow
def test_the_commands_ask_withdraw_train_anew_and_audit(demo, shared, victim, demo_key, tmp_path):
    """A shop asks with its key; after training anew nothing of it is left."""
    names = {anonymise.code(demo.key, m.shop.name): m.shop.name for m in demo.made}
    Counts.beside(demo_key).take(victim["shop"], names[victim["shop"]], LATE)
    request = tmp_path / "request.json"
    asked = run("withdraw", "--request", "--out", request, "--key-file", demo_key)
    assert asked.returncode == 0, asked.stderr
    before = run("audit", shared, demo.bundle, "--request", request)
    assert before.returncode == 1
    assert "arrays.npz" in before.stderr
    applied = run("withdraw", "--apply", request, "--from", shared)
    assert applied.returncode == 0, applied.stderr
    (tmp_path / "p.yaml").write_text("train: {rounds: 20, folds: 2, spread_rounds: 5}\n")
    out = tmp_path / "curated"
    done = run("curate", shared, "--out", out, "--fresh")
    assert done.returncode == 0, done.stderr
    trained = run("train", out, "--params", tmp_path / "p.yaml", "--out", tmp_path / "bundle")
    assert trained.returncode == 0, trained.stderr
    assert run("report", "curation", out, "--out", tmp_path / "reports").returncode == 0
    places = (out, tmp_path / "bundle", tmp_path / "reports", shared / "accepted")
    after = run("audit", *places, "--request", request)
    assert after.returncode == 0, after.stderr
    assert "nothing is left" in after.stdout
    assert victim["shop"] not in set(pd.read_parquet(out / "builds.parquet")["shop"])


def test_a_sheet_is_asked_for_by_its_own_name_or_file(tmp_path, write_sheet):
    """Also where its name was replaced by a code; the request does not give the name away."""
    key = tmp_path / "key"
    told = write_sheet({"sheet_id": "Tern Quay Marine 12"}, name="in/told.csv")
    plain = write_sheet({"sheet_id": "q-7"}, name="in/plain.csv")
    shared = tmp_path / "shared"
    assert run("contribute", tmp_path / "in", "--into", shared, "--key-file", key).returncode == 0
    for number, words in enumerate((["Tern Quay Marine 12"], [told], ["q-7"], [plain])):
        out = tmp_path / f"{number}.json"
        asked = run("withdraw", "--request", *words, "--out", out, "--key-file", key)
        assert asked.returncode == 0, asked.stderr
        assert "Tern" not in out.read_text()
        again = tmp_path / f"shared-{number}"
        shutil.copytree(shared, again)
        applied = run("withdraw", "--apply", out, "--from", again)
        assert "1 file removed" in applied.stdout
        assert len(list((again / "accepted").iterdir())) == 1


def test_a_key_of_two_shops_must_say_which(tmp_path, write_sheet):
    key = tmp_path / "key"
    write_sheet({"shop": "Otter Weir"}, name="in/a.csv")
    write_sheet({"shop": "Reed Cutting"}, name="in/b.csv")
    run("contribute", tmp_path / "in", "--into", tmp_path / "shared", "--key-file", key)
    words = ("withdraw", "--request", "--out", tmp_path / "r.json", "--key-file", key)
    done = run(*words)
    assert done.returncode == 2
    assert "name the shop with --shop" in " ".join(done.stderr.split())
    assert run(*words, "--shop", "Otter Weir").returncode == 0


def test_a_request_is_not_made_where_the_record_of_what_was_signed_is_lost(tmp_path, write_sheet):
    """Its count would be earlier than that of the sheets, and nothing would be withdrawn."""
    key, shared = tmp_path / "key", tmp_path / "shared"
    sheet = write_sheet({"sheet_id": "q-7"}, name="in/a.csv")
    contribute_it = ("contribute", sheet, "--into", shared, "--key-file", key)
    assert run(*contribute_it).returncode == 0
    (tmp_path / "key.counts").unlink()
    name = ("--shop", "Tern Quay Marine", "--key-file", key)
    ask = ("withdraw", "--request", "q-7", "--out", tmp_path / "r.json", *name)
    lost = run(*ask)
    assert lost.returncode == 2
    assert "the record was lost" in " ".join(lost.stderr.split())
    assert not (tmp_path / "r.json").exists()
    assert run(*contribute_it).returncode == 0  # nothing new in it: the counting goes on
    assert run(*ask).returncode == 0
    applied = run("withdraw", "--apply", tmp_path / "r.json", "--from", shared)
    assert "1 file removed" in applied.stdout


def test_a_name_that_the_key_never_signed_for_is_not_asked_for(tmp_path, write_sheet):
    key = tmp_path / "key"
    sheet = write_sheet({"shop": "Otter Weir"}, name="in/a.csv")
    run("contribute", sheet, "--into", tmp_path / "shared", "--key-file", key)
    out = ("--out", tmp_path / "r.json", "--key-file", key)
    done = run("withdraw", "--request", "--shop", "Oter Weir", *out)
    assert done.returncode == 2
    assert "only sheets of Otter Weir" in " ".join(done.stderr.split())


def test_a_request_for_nothing_that_is_there_says_so(shared, signer, tmp_path):
    path = tmp_path / "request.json"
    path.write_text(withdraw.request(signer, ["no-such-sheet"], LATE).as_text())
    applied = run("withdraw", "--apply", path, "--from", shared)
    assert "0 files removed" in applied.stdout
    assert "No sheet of such a name was signed" in applied.stdout


@pytest.mark.parametrize("all_of_them", [False, True])
def test_a_curated_data_set_is_rid_of_what_was_withdrawn(
    demo, victim, asked, asked_all, tmp_path, all_of_them
):
    folder, request = tmp_path / "curated", asked_all if all_of_them else asked
    shutil.copytree(demo.folder / "curated", folder)
    before, findings = data_set.load(folder)[0], data_set.load_findings(folder)
    assert run("audit", folder, "--request", request).returncode == 1
    applied = run("withdraw", "--apply", request, "--from", folder)
    assert applied.returncode == 0, applied.stderr
    assert run("audit", folder, "--request", request).returncode == 0
    builds, pulls = data_set.load(folder)
    gone = before["shop"].eq(victim["shop"])
    gone &= all_of_them | before["sheet_id"].eq(victim["sheet_id"])
    assert set(builds["sheet_id"]) == set(before.loc[~gone, "sheet_id"])
    assert set(pulls["sheet_id"]) == set(builds["sheet_id"])
    kept = data_set.load_findings(folder)
    of_others = findings["sheet_id"].isin(set(builds["sheet_id"]))
    assert 0 <= of_others.sum() - kept["sheet_id"].isin(set(builds["sheet_id"])).sum() <= 2


def test_without_a_key_nothing_is_asked(tmp_path):
    env = {"XDG_CONFIG_HOME": str(tmp_path), "HOME": str(tmp_path)}
    done = run("withdraw", "--request", "--out", tmp_path / "r.json", env=env)
    assert done.returncode == 2
    assert "does not exist" in done.stderr


def test_tables_that_name_no_shop_are_read_by_the_builds_beside_them(demo, asked_all, tmp_path):
    data_set.write(tmp_path / "curated", {data_set.BUILDS: demo.builds, data_set.PULLS: demo.pulls})
    one = [withdraw.read(asked_all)]
    pulls = tmp_path / "curated" / data_set.PULLS
    assert [file for file, _ in withdrawn_traces.left([pulls], one, pytest.fail)] == [pulls]
    assert withdrawn_traces.blind([tmp_path / "curated"], one) == []
    alone = tmp_path / "alone.parquet"
    shutil.copy(pulls, alone)
    assert withdrawn_traces.blind([alone], one) == [alone]
    done = run("audit", alone, "--request", asked_all)
    assert done.returncode == 1
    assert "cannot be found in it" in " ".join(done.stderr.split())
