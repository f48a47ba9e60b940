"""What leaves the house, and what does not."""

import json

import openpyxl
import pandas as pd
import pytest
from valid_sheet import FIELDS, PULL, sheet_text

from pullbook.pipeline.curation.rare_builds import rarity
from pullbook.pipeline.privacy import identity_leaks, sealed_originals
from pullbook.pipeline.privacy.contribute import contribute, plan
from pullbook.pipeline.privacy.refused_sheets import unseal
from pullbook.pipeline.reading import find_sheets

KEY = b"a key for the tests alone"


def planned(tmp_path, fields, name="a.csv"):
    path = tmp_path / name
    path.write_text(sheet_text(fields))
    (entry,) = plan([path], KEY).accepted
    return entry


@pytest.mark.parametrize(
    "family",
    [
        "petrel of tern quay", "TernQuay special", "ask bosun@ternquay.example", "S/N 4471-B",
        "rung 2024-05-31", "31.05.2024", "call 555 0199 23", "+44 20 7946 0958", "(020) 7946 0958",
        "1HGCM82633A004352", "a family " * 20, "vin: 44713",
    ],
)  # fmt: skip
def test_names_that_tell_are_replaced(tmp_path, family):
    entry = planned(tmp_path, {"family": json.dumps(family)})
    assert entry.sheet.values["family"].startswith("family-")
    assert family.strip() not in entry.text
    assert {"name-withheld", "text-withheld"} & {f.code for f in entry.sheet.findings}


@pytest.mark.parametrize("family", ["petrel-six", "Petrel 250", "kestrel 4.1 L", "eider-eight mk2"])
def test_plain_names_travel(tmp_path, family):
    assert planned(tmp_path, {"family": family}).sheet.values["family"] == family


def test_one_word_of_the_shops_name_travels_and_is_told(tmp_path):
    entry = planned(tmp_path, {"sheet_id": "tern-0417"})
    assert entry.sheet.sheet_id == "tern-0417"
    assert "name-hint" in {f.code for f in entry.sheet.findings}
    assert identity_leaks.hint("Tern Quay Marine", "TQM 12") == "tqm"
    assert identity_leaks.hint("Tern Quay Marine", "marine-12") is None


def test_the_name_of_a_file_does_not_travel(tmp_path):
    entry = planned(tmp_path, {"sheet_id": ""}, name="for-the-harbour-master.csv")
    assert "harbour" not in entry.text + entry.name
    assert entry.sheet.sheet_id.startswith("sheet-")


def test_elevation_notes_and_the_day_stay(tmp_path):
    secret = {"elevation": "300", "notes": "for the mate", "tested_on": "2023-04-05"}
    text = planned(tmp_path, secret).text
    assert "elevation" not in text
    assert "mate" not in text
    assert "tested_on: 2023\n" in text


def test_who_made_a_workbook_does_not_travel(tmp_path):
    made = openpyxl.Workbook()
    made.properties.creator = made.properties.lastModifiedBy = "A. Skipper"
    made.properties.title = "Skipper's engine"
    builds, pulls = made.active, made.create_sheet("pulls")
    builds.title = "builds"
    builds.append(list(FIELDS))
    builds.append([f"{v}" for v in FIELDS.values()])
    pulls.append(["sheet_id", *PULL[0]])
    for row in PULL[1:]:
        pulls.append([FIELDS["sheet_id"], *row])
    made.save(tmp_path / "skipper.xlsx")
    contribute([tmp_path / "skipper.xlsx"], tmp_path / "out", KEY)
    (file,) = (tmp_path / "out" / "accepted").iterdir()
    assert "skipper" not in (file.read_text() + file.name).casefold()


def test_originals_are_kept_byte_for_byte_and_sealed(tmp_path, write_sheet):
    path = write_sheet({"bore": "99 in", "notes": "Tern Quay"}, name="in/secret name.csv")
    (tmp_path / "in" / "noise.csv").write_bytes(b"\x00\xff Tern Quay Marine")
    before = {p.name: p.read_bytes() for p in (tmp_path / "in").iterdir()}
    contribute([tmp_path / "in"], tmp_path / "out", KEY)
    for file in (tmp_path / "out").rglob("*"):
        assert b"Tern Quay" not in (file.read_bytes() if file.is_file() else b"")
        assert "secret" not in file.name
    written = unseal(tmp_path / "out", tmp_path / "back", KEY)
    assert {p.name: p.read_bytes() for p in written} == before
    assert path.name in before
    with pytest.raises(sealed_originals.SealError):
        unseal(tmp_path / "out", tmp_path / "other", b"another key")
    with pytest.raises(find_sheets.NothingToReadError):
        unseal(tmp_path / "in", tmp_path / "none", KEY)


def test_an_altered_original_is_told():
    sealed = sealed_originals.seal(KEY, "a.csv", b"what was there")
    assert sealed_originals.unseal(KEY, sealed) == ("a.csv", b"what was there")
    assert sealed_originals.seal(KEY, "a.csv", b"what was there") == sealed
    with pytest.raises(sealed_originals.SealError):
        sealed_originals.unseal(KEY, sealed[:-8] + b"AAAAAAA\n")


def test_no_cell_of_a_refused_copy_is_a_formula(tmp_path, write_sheet):
    pull = [PULL[0], *PULL[1:], ('=HYPERLINK("x")', "@sum", "+cmd|calc"), ("-5", "+3", "1e3")]
    contribute([write_sheet({"bore": "99 in"}, pull)], tmp_path / "out", KEY)
    (copy,) = (tmp_path / "out" / "refused").glob("*.csv")
    cells = [c.strip('"') for line in copy.read_text().splitlines() for c in line.split(",")]
    assert not [c for c in cells if c.startswith(("=", "@", "+c"))]
    assert {"-5", "+3"} <= set(cells)


def test_rarity_counts_other_shops():
    builds = pd.DataFrame(
        {
            "shop": ["a", "b", "c", "c", "d"],
            "cylinders": pd.array([6, 6, 6, 6, 8], dtype="Int64"),
            "bore": [3.9, 3.9, 3.905, 3.9, 3.9],
            "stroke": [3.6] * 5,
            "compression_ratio": [9.4, 9.5, 11.0, None, 9.4],
            **{n: [None] * 5 for n in ("intake_duration", "exhaust_duration", "lobe_separation",
                                       "boost")},
            **{n: ["x"] * 5 for n in ("aspiration", "fuel_metering", "exhaust_type", "fuel",
                                      "arrangement")},
            "intake_type": ["dual plane", "single plane", "dual plane", "dual plane", "dual plane"],
        }
    ).astype({"intake_duration": float, "exhaust_duration": float, "lobe_separation": float,
              "boost": float})  # fmt: skip
    build = {"shop": "a", "cylinders": 6, "bore": 3.9, "stroke": 3.6, "compression_ratio": 9.3,
             "intake_type": "dual plane", "aspiration": "x"}  # fmt: skip
    assert rarity(build, builds) == (2, 1)
    assert rarity({**build, "shop": "z"}, builds) == (3, 2)
    assert rarity({**build, "bore": 4.4}, builds) == (0, 0)


@pytest.mark.parametrize(
    "text", ["dyno 1340 ft asl", "410 masl", "elev. 1340", "altitude: 410", "row 12 at 410 m above"]
)
def test_a_height_is_more_than_a_name(text):
    assert identity_leaks.more_than_a_name(text) == "contains a height"


@pytest.mark.parametrize("text", ["petrel 350", "tern-0417", "350 alt cam", "12 m class"])
def test_a_number_is_no_height(text):
    assert identity_leaks.more_than_a_name(text) is None
