"""Attacks on who speaks and on what leaves; the threat model names them by what they hold."""

import json
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import pytest
from command_line import run
from valid_sheet import sheet_text

from pullbook.pipeline.curation.curate import curate
from pullbook.pipeline.curation.data_set import NotCuratedError
from pullbook.pipeline.curation.read_own import OwnReader, local_code
from pullbook.pipeline.privacy import (
    anonymise,
    hand_over,
    key_file,
    own_sheets,
    pack,
    signatures,
    withdraw,
)
from pullbook.pipeline.privacy.contribute import contribute
from pullbook.pipeline.privacy.contributed_sheet import KIND, signed_text, without_signature
from pullbook.pipeline.privacy.key_file import Counts

KEY, STRANGER = b"the key of the shop, long enough it is", b"the key of a stranger, long enough too"
SHOP = "Tern Quay Marine"


@pytest.fixture
def shared(tmp_path):
    """Return a function that contributes sheets of a shop into a folder, with counts that rise."""
    counts = Counts()

    def share(*changes, into="shared", key=KEY):
        folder = tmp_path / f"{into}-in"
        folder.mkdir(exist_ok=True)
        for number, change in enumerate(changes or ({},)):
            (folder / f"{number}.csv").write_text(sheet_text(change))
        contribute([folder], tmp_path / into, key, counts=counts)
        shutil.rmtree(folder)
        return tmp_path / into

    return share


def accepted(folder):
    return sorted((folder / "accepted").iterdir())


def codes(found):
    return set(found.findings["code"])


def only_refused(folder):
    """Return the codes of the findings of a contribution of which no sheet is curated."""
    sound = folder.parent / "sound"
    if not sound.exists():
        (folder.parent / "sound-in.csv").write_text(
            sheet_text({"sheet_id": "sound", "shop": "Reed Cutting"})
        )
        contribute([folder.parent / "sound-in.csv"], sound, KEY)
    found = curate([folder, sound])
    assert found.builds["sheet_id"].tolist() == ["sound"]
    assert found.refused >= 1
    return codes(found)


# --- who speaks ---------------------------------------------------------------------------


def test_a_signed_sheet_is_taken_and_spaces_line_ends_and_a_bom_do_no_harm(shared):
    folder = shared()
    (path,) = accepted(folder)
    path.write_bytes(b"\xef\xbb\xbf" + path.read_text().replace("\n", "\r\n").encode())
    found = curate([folder])
    assert found.builds["shop"].tolist() == [anonymise.code(KEY, SHOP)]


def test_a_strangers_sheet_under_a_shops_code_is_refused(shared):
    folder = shared(key=STRANGER)
    (path,) = accepted(folder)
    mine, theirs = anonymise.code(KEY, SHOP), anonymise.code(STRANGER, SHOP)
    path.write_text(path.read_text().replace(f'"{theirs}"', f'"{mine}"'))
    assert "not-the-signers-code" in only_refused(folder)


def test_a_stranger_who_signs_anew_under_a_shops_code_is_refused(shared):
    """The code is of the public key, so a right signature of a wrong key does not help."""
    folder = shared()
    (path,) = accepted(folder)
    text = without_signature(path.read_text())
    forged = signatures.signer(STRANGER, SHOP).sign(KIND, 999, text)
    path.write_text(signed_text(text, forged))
    assert "not-the-signers-code" in only_refused(folder)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("compression_ratio: 9.4", "compression_ratio: 10.4"),
        ("cylinders: 6", "cylinders: 6\noctane: 93"),
        ('family: "petrel-six"\n', ""),
        ("signer_count: 1\n", "signer_count: 2\n"),
        ("2000,253.4,", "2000,263.4,"),
        ("rpm,torque,pull", "rpm,torque (N.m),pull"),
        ('correction_route: "exact"', 'correction_route: "nominal"'),
        ('stated_correction: "observed"', 'stated_correction: "SAE J607"'),
    ],
)
def test_an_altered_sheet_is_refused(shared, old, new):
    folder = shared()
    (path,) = accepted(folder)
    assert old in path.read_text()
    path.write_text(path.read_text().replace(old, new, 1))
    assert "altered" in only_refused(folder)


def test_a_sheet_without_its_signature_is_refused(shared):
    folder = shared()
    (path,) = accepted(folder)
    path.write_text(without_signature(path.read_text()))
    assert "unsigned" in only_refused(folder)


def test_a_sheet_signed_as_something_else_is_refused(shared):
    folder = shared()
    (path,) = accepted(folder)
    text = without_signature(path.read_text())
    other = signatures.signer(KEY, SHOP).sign(withdraw.KIND, 1, text)
    path.write_text(signed_text(text, other))
    assert "altered" in only_refused(folder)


def test_an_old_version_that_is_sent_again_does_not_replace_the_new(shared):
    old = shared({"compression_ratio": "9.4"}, into="old")
    new = shared({"compression_ratio": "9.9"}, into="new")
    for order in ([old, new], [new, old]):
        found = curate(order)
        assert found.builds["compression_ratio"].tolist() == [9.9]
        assert "same-sheet-again" in codes(found)


def test_a_key_whose_counts_were_lost_goes_on_after_what_lies_in_the_folder(tmp_path):
    """Or a mended sheet would count as older than the one it mends."""
    for ratio in ("9.4", "9.6", "9.9"):
        (tmp_path / "a.csv").write_text(sheet_text({"compression_ratio": ratio}))
        contribute([tmp_path / "a.csv"], tmp_path / "out", KEY, counts=Counts())
    (path,) = accepted(tmp_path / "out")
    assert "signer_count: 3\n" in path.read_text()


def test_nobody_replaces_anothers_sheet(shared):
    mine = shared({"compression_ratio": "9.4"}, into="mine")
    for _ in range(3):  # a count of the stranger's own that is higher
        theirs = shared({"compression_ratio": "10.9"}, into="theirs", key=STRANGER)
    found = curate([mine, theirs])
    assert sorted(found.builds["compression_ratio"]) == [9.4, 10.9]
    assert found.builds["shop"].nunique() == 2
    assert found.replaced == 0


@pytest.mark.parametrize("change", [{"bore": "4.3 in"}, {"cylinders": "4"}])
def test_versions_of_engines_of_another_size_are_both_refused(shared, change):
    shared({"bore": "3.9 in"}, into="first")
    folder = shared(change, into="second")
    shutil.copy(accepted(folder.parent / "first")[0], folder / "accepted" / "other-name.csv")
    assert "same-id-other-engine" in only_refused(folder)


def test_an_engine_bored_a_size_over_is_a_newer_version(shared):
    first = shared({"bore": "3.9 in"}, into="first")
    second = shared({"bore": "3.93 in"}, into="second")
    assert curate([first, second]).builds["bore"].tolist() == [3.93]


def test_two_sheets_signed_with_one_count_are_both_refused(tmp_path):
    """A key that was copied, or restored without its counts, is in use in two places."""
    for number, ratio in enumerate(("9.4", "9.9")):
        (tmp_path / "a.csv").write_text(sheet_text({"compression_ratio": ratio}))
        contribute([tmp_path / "a.csv"], tmp_path / f"{number}", KEY, counts=Counts())
    shutil.copy(accepted(tmp_path / "0")[0], tmp_path / "1" / "accepted" / "z.csv")
    assert "count-used-twice" in only_refused(tmp_path / "1")


def test_a_code_in_a_shop_field_is_text_like_any_other(shared):
    code = anonymise.code(KEY, SHOP)
    folder = shared({"shop": code}, key=STRANGER)
    found = curate([folder])
    assert code not in set(found.builds["shop"])


def test_predict_takes_the_key_and_not_the_code(demo, demo_key, tmp_path):
    build = tmp_path / "a.yaml"
    build.write_text("cylinders: 8\nbore: 4.03 in\nstroke: 3.48 in\n")
    name = demo.made[0].shop.name
    words = ("predict", build, "--bundle", demo.bundle, "--json", "--key-file", demo_key, "--shop")
    known = json.loads(run(*words, name).stdout)
    stranger = json.loads(run(*words, anonymise.code(demo.key, name)).stdout)
    assert (known["regime"], stranger["regime"]) == ("known shop", "new shop")


def test_nothing_that_leaves_links_two_shops_of_one_key(tmp_path):
    """The same words in both shops: sheet IDs that are coded, families, engines, file names."""
    told = {"sheet_id": "rung 2024-05-31", "family": "call 555-0199", "engine": "Lugworm, port"}
    for shop in ("Otter Weir", "Reed Cutting"):
        path = tmp_path / f"{shop}.csv"
        path.write_text(sheet_text({**told, "shop": shop}))
        contribute([path], tmp_path / shop, KEY)
        signer = signatures.signer(KEY, shop)
        pack.pack(tmp_path / shop, signer, 2, tmp_path / f"{shop}.zip")
    texts = []
    for shop in ("Otter Weir", "Reed Cutting"):
        (path,) = accepted(tmp_path / shop)
        texts.append({path.name, *path.read_text().split()})
        assert not any(word in path.read_text() for word in ("555", "Lugworm", "05-31"))
    shared_words = texts[0] & texts[1]
    assert not [word for word in shared_words if any(len(part) >= 8 and part.isalnum() and not
                part.isalpha() for part in word.strip('"').replace("-", " ").split())]  # fmt: skip


def test_a_request_and_a_sheet_of_a_shop_that_moved_follow_it(shared, tmp_path):
    old_folder = shared({"compression_ratio": "9.4"}, into="old")
    old, new = signatures.signer(KEY, SHOP), signatures.signer(STRANGER, SHOP)
    hand_over.keep(hand_over.make(old, new, 50), old_folder)
    found = curate([old_folder])
    assert found.builds["shop"].tolist() == [new.code]
    (tmp_path / "n.csv").write_text(sheet_text({"compression_ratio": "9.9"}))
    contribute([tmp_path / "n.csv"], tmp_path / "new", STRANGER, counts=Counts())
    found = curate([old_folder, tmp_path / "new"])
    assert found.builds["compression_ratio"].tolist() == [9.9]  # though its count is lower
    request = withdraw.request(new, ["tern-0417"], 9)
    withdraw.apply(request, tmp_path / "new")
    with pytest.raises(NotCuratedError):
        curate([old_folder, tmp_path / "new"])


def test_what_an_old_key_signs_after_the_move_is_refused(shared):
    folder = shared({"sheet_id": "s1"}, {"sheet_id": "s2"}, {"sheet_id": "s3"})
    old, new = signatures.signer(KEY, SHOP), signatures.signer(STRANGER, SHOP)
    hand_over.keep(hand_over.make(old, new, 2), folder)
    found = curate([folder])
    assert len(found.builds) == 2
    assert "signed-after-hand-over" in codes(found)


def test_two_hand_overs_of_one_shop_stop_both(shared, tmp_path):
    folder = shared()
    old = signatures.signer(KEY, SHOP)
    for number, other in enumerate((STRANGER, b"the key of yet another stranger, I say")):
        hand_over.keep(hand_over.make(old, signatures.signer(other, SHOP), 7 + number), folder)
    found = curate([folder])
    assert found.stopped == [old.code]
    assert found.builds["shop"].tolist() == [old.code]
    done = run("curate", folder, "--out", tmp_path / "cur", "--fresh")
    assert done.returncode == 1
    assert "two different keys" in " ".join(done.stderr.split())


def test_a_forged_hand_over_moves_nothing(shared, tmp_path):
    folder = shared()
    made = hand_over.make(signatures.signer(KEY, SHOP), signatures.signer(STRANGER, SHOP), 3)
    record = json.loads(made.as_text())
    record["new_key"] = signatures.signer(b"x" * 40, SHOP).public_key
    (tmp_path / "h.json").write_text(json.dumps(record))
    with pytest.raises(hand_over.HandOverError, match="not signed"):
        hand_over.read(tmp_path / "h.json")
    (folder / hand_over.HANDED_OVER).mkdir()
    shutil.copy(tmp_path / "h.json", folder / hand_over.HANDED_OVER)
    assert curate([folder]).builds["shop"].tolist() == [anonymise.code(KEY, SHOP)]


# --- own and contributed ------------------------------------------------------------------


def test_own_sheets_do_not_slip_into_a_contribution(shared):
    folder = shared({"sheet_id": "signed"})
    (folder / "accepted" / "own.csv").write_text(sheet_text({"sheet_id": "own"}))
    found = curate([folder])
    assert found.builds["sheet_id"].tolist() == ["signed"]
    assert "unsigned" in codes(found)


def test_contributed_sheets_do_not_slip_among_own_ones(shared, tmp_path):
    folder = shared({"sheet_id": "signed"}, key=STRANGER)
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "own.csv").write_text(sheet_text({"sheet_id": "own"}))
    shutil.copy(accepted(folder)[0], mine)
    found = curate([mine], own=OwnReader())
    assert found.builds["sheet_id"].tolist() == ["own"]
    assert "signed-among-own" in codes(found)


def test_own_and_contributed_copies_of_a_sheet_count_once_with_the_key(tmp_path):
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "a.csv").write_text(sheet_text())
    contribute([mine], tmp_path / "shared", KEY)
    (tmp_path / "b.csv").write_text(sheet_text({"sheet_id": "other", "compression_ratio": "9.9"}))
    contribute([tmp_path / "b.csv"], tmp_path / "shared", KEY)
    found = curate([mine, tmp_path / "shared"], own=OwnReader(key=KEY))
    assert sorted(found.builds["sheet_id"]) == ["other", "tern-0417"]
    assert set(found.builds["shop"]) == {local_code(SHOP)}
    without = curate([mine, tmp_path / "shared"], own=OwnReader())
    assert len(without.builds) == 3


def test_a_local_code_is_nobodys_code():
    assert not set(local_code(SHOP)) <= set("0123456789abcdef")


# --- keys ---------------------------------------------------------------------------------


def test_twenty_first_uses_at_once_give_one_key(tmp_path):
    path = tmp_path / "deep" / "contributor.key"
    with ThreadPoolExecutor(20) as pool:
        keys = set(pool.map(lambda _: key_file.make(path), range(20)))
    assert len(keys) == 1
    assert path.stat().st_mode & 0o777 == 0o600
    assert [one.name for one in path.parent.iterdir()] == [path.name]


@pytest.mark.parametrize(
    ("content", "what"),
    [
        ("", "is empty"),
        ("\n \n", "is empty"),
        ("abc", "of the 64 characters"),
        ("a1" * 20, "of the 64 characters"),
        ("0" * 64, "over and over"),
        ("a short phrase", "too short"),
        ("abababab zz" * 4, "too simple"),
    ],
)
def test_a_key_that_is_no_whole_key_is_refused_with_what_to_do(tmp_path, content, what):
    path = tmp_path / "key"
    path.write_text(content)
    path.chmod(0o600)
    for use in (key_file.read, key_file.make):
        with pytest.raises(key_file.KeyFileError, match=what) as raised:
            use(path)
        assert "restore-key" in str(raised.value)
        assert not content.strip() or content.strip() not in str(raised.value)
    assert path.read_text() == content


def test_a_key_that_others_can_read_is_refused_unless_told(tmp_path, write_sheet):
    path = tmp_path / "key"
    key_file.make(path)
    path.chmod(0o644)
    words = ("contribute", write_sheet(), "--into", tmp_path / "out", "--key-file", path)
    done = run(*words)
    assert done.returncode == 2
    assert "chmod 600" in " ".join(done.stderr.split())
    assert run(*words, env={"PULLBOOK_OPEN_KEY": "yes"}).returncode == 0


def test_a_backup_holds_the_counts_and_a_restored_key_counts_from_far_beyond(tmp_path, write_sheet):
    path, sheet = tmp_path / "key", write_sheet()
    run("contribute", sheet, "--into", tmp_path / "out", "--key-file", path)
    assert run("backup-key", tmp_path / "b", "--key-file", path).returncode == 0
    assert (tmp_path / "b").stat().st_mode & 0o777 == 0o600
    assert run("backup-key", tmp_path / "b", "--key-file", path).returncode == 2  # not written over
    back = tmp_path / "restored"
    assert run("restore-key", tmp_path / "b", "--key-file", back).returncode == 0
    assert key_file.read(back) == key_file.read(path)
    (one,) = Counts.beside(back).read().values()
    assert one == {"name": SHOP, "count": 1 + key_file.RESTORED}
    other = tmp_path / "other"
    key_file.make(other)
    done = run("restore-key", tmp_path / "b", "--key-file", other)
    assert done.returncode == 2
    assert "another key" in done.stderr


def test_the_key_is_in_no_message_and_in_nothing_that_is_written(tmp_path, write_sheet):
    path, sheet = tmp_path / "key", write_sheet({"bore": "99 in"}, name="in/a.csv")
    write_sheet({"sheet_id": "b"}, name="in/b.csv")
    done = run("contribute", sheet.parent, "--into", tmp_path / "out", "--key-file", path)
    key = path.read_text().strip()
    assert key not in done.stdout + done.stderr
    written = [p for p in (tmp_path / "out").rglob("*") if p.is_file()]
    assert written
    assert not [p for p in written if key.encode() in p.read_bytes()]
    assert "Back it up" in done.stderr


@pytest.mark.slow
def test_twenty_contributors_into_one_folder_at_once_lose_nothing(tmp_path):
    """Twenty shops, each its own key and process, five sheets each; then all of them once more."""
    for shop in range(20):
        (tmp_path / f"in-{shop}").mkdir()
        for number in range(5):
            fields = {"sheet_id": f"s{shop}-{number}", "shop": f"Invented shop {shop}"}
            (tmp_path / f"in-{shop}" / f"{number}.csv").write_text(sheet_text(fields))
    code = "from pullbook.commands.main import run; run()"
    for _ in range(2):
        running = [
            subprocess.Popen(
                [sys.executable, "-c", code, "contribute", str(tmp_path / f"in-{shop}"), "--into",
                 str(tmp_path / "out"), "--key-file", str(tmp_path / f"key-{shop}")],
                stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            )
            for shop in range(20)
        ]  # fmt: skip
        assert [process.wait() for process in running] == [0] * 20
    found = curate([tmp_path / "out"])
    assert len(found.builds) == 100
    assert found.refused == 0
    assert found.builds["shop"].nunique() == 20
    for shop in range(20):
        (one,) = Counts.beside(tmp_path / f"key-{shop}").read().values()
        assert one["count"] == 5


# --- packs, and contributions from before ----------------------------------------------------


def test_a_pack_brings_its_sheets_and_nothing_else(tmp_path, write_sheet):
    key = tmp_path / "key"
    words = ("contribute", write_sheet(), "--into", tmp_path / "out", "--key-file", key)
    done = run(*words, "--pack", tmp_path / "p.zip")
    assert done.returncode == 0, done.stderr
    unpacked = run("unpack", tmp_path / "p.zip", "--into", tmp_path / "there")
    assert unpacked.returncode == 0, unpacked.stderr
    assert [p.name for p in accepted(tmp_path / "there")] == [
        p.name for p in accepted(tmp_path / "out")
    ]
    assert len(curate([tmp_path / "there"]).builds) == 1


def test_a_pack_that_was_changed_is_refused_whole(shared, tmp_path):
    import zipfile

    folder = shared({"sheet_id": "a"}, {"sheet_id": "b"})
    pack.pack(folder, signatures.signer(KEY, SHOP), 9, tmp_path / "p.zip")
    with zipfile.ZipFile(tmp_path / "p.zip") as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    name = next(n for n in files if n.endswith(".csv"))
    evil = {
        "changed": {**files, name: files[name].replace(b"9.4", b"9.9")},
        "one left out": {n: d for n, d in files.items() if n != name},
        "one more": {**files, "../../evil.csv": files[name]},
        "no manifest": {n: d for n, d in files.items() if n != pack.MANIFEST},
    }
    for number, content in enumerate(evil.values()):
        path = tmp_path / f"{number}.zip"
        with zipfile.ZipFile(path, "w") as archive:
            for inner, data in content.items():
                archive.writestr(inner, data)
        with pytest.raises(pack.PackError):
            pack.unpack(path, tmp_path / "into")
    assert not (tmp_path / "into").exists()


def test_sheets_from_before_signatures_are_brought_over_with_the_key_alone(tmp_path):
    earlier = signatures.keyed_digest(KEY, SHOP).hex()[:32]
    old = tmp_path / "old" / "accepted"
    old.mkdir(parents=True)
    (old / "a.csv").write_text(sheet_text({"shop": earlier}))
    (old / "b.csv").write_text(sheet_text({"sheet_id": "b", "shop": "f" * 32}))
    with pytest.raises(NotCuratedError):
        curate([tmp_path / "old"])
    out = own_sheets.bring_over(tmp_path / "old", tmp_path / "new", KEY, [SHOP], Counts())
    assert (len(out.plan.accepted), len(out.plan.refused)) == (1, 1)
    found = curate([tmp_path / "new"])
    assert found.builds["shop"].tolist() == [anonymise.code(KEY, SHOP)]
    stranger = own_sheets.bring_over(tmp_path / "old", tmp_path / "x", STRANGER, [SHOP], Counts())
    assert len(stranger.plan.accepted) == 0
