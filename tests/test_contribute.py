"""Contributing: nothing in clear, nothing lost."""

import hashlib
import hmac
import json
import os

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from valid_sheet import FIELDS, PULL

from pullbook.pipeline.checks import check_sheet
from pullbook.pipeline.physics import reference_condition
from pullbook.pipeline.privacy import anonymise
from pullbook.pipeline.privacy.contribute import contribute
from pullbook.pipeline.reading import find_sheets, parse_sheet

KEY = b"a key for the tests alone"
SHOP = FIELDS["shop"]


def test_a_code_is_of_the_public_key_that_the_keyed_hash_of_the_name_seeds():
    seed = hmac.new(KEY, b"tern quay marine", hashlib.sha256).digest()
    public = Ed25519PrivateKey.from_private_bytes(seed).public_key().public_bytes_raw()
    expected = hashlib.sha256(public).hexdigest()[:32]
    assert anonymise.code(KEY, SHOP) == expected
    assert anonymise.code(KEY, "  TERN quay  Marine ") == expected
    assert anonymise.code(KEY + b"!", SHOP) != expected
    assert expected not in anonymise.code(KEY, expected)  # a code in a field is text like any other


def everything(folder):
    """Return every name and every byte below a folder."""
    names = [str(path.relative_to(folder)) for path in folder.rglob("*")]
    return "\n".join(names + [p.read_text() for p in folder.rglob("*") if p.is_file()])


@pytest.mark.parametrize("broken", [{}, {"stroke": ""}])
def test_the_shops_name_is_nowhere(tmp_path, write_sheet, broken):
    secret = {
        "notes": f"rung by {SHOP} for the owner, call 555-0199",
        "family": "Tern-Quay_Marine special",
        "sheet_id": "TERN QUAY MARINE 12",
        "tested_on": "2024-05-31",
    }
    pull = [(*PULL[0], "remark"), *((*row, "ok at tern quay marine") for row in PULL[1:])]
    path = write_sheet(secret | broken, pull, name="in/a.csv")
    outcome = contribute([path], tmp_path / "out", KEY)
    assert len(outcome.plan.refused) == bool(broken)
    told = everything(tmp_path / "out").casefold()
    for word in ("tern quay marine", "tern-quay_marine", "ternquaymarine", "555-0199", "rung by"):
        assert word not in told
    if not broken:
        assert "2024-05-31" not in told
        assert "2024" in told


def test_an_accepted_sheet_reads_back_as_it_was(tmp_path, write_sheet):
    path = write_sheet({"muffled": "no", "tested_on": "2023-01-02"}, name="in/a.csv")
    (before,) = (parse_sheet.typed(raw) for raw in find_sheets.sheets([path]))
    outcome = contribute([path], tmp_path / "out", KEY)
    (file,) = (tmp_path / "out" / "accepted").iterdir()
    (after,) = (parse_sheet.typed(raw) for raw in find_sheets.sheets([file]))
    assert outcome.plan.accepted[0].sheet.sheet_id == after.sheet_id == FIELDS["sheet_id"]
    assert after.values.pop("shop") == anonymise.code(KEY, SHOP)
    before.values.pop("shop")
    weather = {"air_temperature", "barometer", "relative_humidity"}
    written = {"stated_correction": "observed", "correction_route": "exact"}
    assert after.values.keys() == (before.values.keys() - weather) | written.keys()
    assert written.items() <= after.values.items()
    assert after.values["correction"] == "SAE J1349"
    for name, value in before.values.items():
        if name not in weather | {"correction"}:
            is_number = isinstance(value, float)
            assert after.values[name] == (pytest.approx(value, rel=1e-9) if is_number else value)
    factor = reference_condition.route(before.values).factor
    assert [r.rpm for r in after.readings] == [r.rpm for r in before.readings]
    assert all(r.power is None for r in after.readings)
    for own, there in zip(before.readings, after.readings, strict=True):
        assert there.torque == pytest.approx(own.torque * factor, abs=0.1 + 1e-9)
    assert check_sheet.judge(after, check_sheet.SHEET_RULES).accepted


def test_every_sheet_is_in_one_place_and_the_originals_are_untouched(tmp_path, write_sheet):
    for i in range(3):
        write_sheet({"sheet_id": f"good-{i}"}, name=f"in/good-{i}.csv")
        write_sheet({"sheet_id": f"bad-{i}", "bore": "99 in"}, name=f"in/bad-{i}.csv")
    (tmp_path / "in" / "noise.csv").write_bytes(b"\x00\xff\x00")
    before = {p: p.read_bytes() for p in (tmp_path / "in").iterdir()}
    outcome = contribute([tmp_path / "in"], tmp_path / "out", KEY)
    assert (len(outcome.plan.accepted), len(outcome.plan.refused)) == (3, 4)
    assert len(list((tmp_path / "out" / "accepted").iterdir())) == 3
    told = list((tmp_path / "out" / "refused").glob("*.findings.json"))
    assert len(told) == len(list((tmp_path / "out" / "refused").glob("*.csv"))) == 4
    assert before == {p: p.read_bytes() for p in (tmp_path / "in").iterdir()}
    for path in told:
        findings = json.loads(path.read_text())["findings"]
        assert any(f["severity"] == "refuse" for f in findings)


def test_a_refused_sheet_can_be_mended_and_sent_again(tmp_path, write_sheet):
    path = write_sheet({"bore": "99 in"}, name="in/a.csv")
    contribute([path], tmp_path / "out", KEY)
    (kept,) = (tmp_path / "out" / "refused").glob("*.csv")
    mended = kept.read_text().replace('"99 in"', '"99 mm"')
    assert "shop" not in mended
    kept.write_text(mended.replace("family:", f"shop: {SHOP}\nfamily:"))
    outcome = contribute([kept], tmp_path / "again", KEY)
    assert len(outcome.plan.accepted) == 1
    assert outcome.plan.accepted[0].sheet.values["shop"] == anonymise.code(KEY, SHOP)


def test_the_same_sheet_twice_is_one_sheet(tmp_path, write_sheet):
    path = write_sheet(name="in/a.csv")
    for _ in range(2):
        contribute([path], tmp_path / "out", KEY)
    assert len(list((tmp_path / "out" / "accepted").iterdir())) == 1


@pytest.mark.parametrize("name", ["../../escape", "/etc/x", "a\\b", "CON", "x" * 300, "=1+1"])
def test_a_sheets_name_never_names_a_file(tmp_path, write_sheet, name):
    path = write_sheet({"sheet_id": json.dumps(name)}, name="in/a.csv")
    contribute([path], tmp_path / "out", KEY)
    written = {os.path.relpath(p, tmp_path) for p in tmp_path.rglob("*.csv")}
    assert len(written) == 2
    assert all(w.startswith(("in/", "out/accepted/")) for w in written)
