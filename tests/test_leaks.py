"""Nothing that may leave holds a word of the house, wherever on a sheet it stood."""

import io
import random
import re
import zipfile

import pytest
from valid_sheet import FIELDS, PULL

from pullbook.pipeline.privacy import pack, signatures
from pullbook.pipeline.privacy.contribute import contribute

KEY = b"a key for the tests alone, long enough"
#: Words that only this house has: its name, a customer, a street, a height, days.
SHOPS = ("Quillfeather Marine", "Ottoline Brack Engines", "J. Vandersloop & Sons")
HOUSE = ("Marigold Pettifer", "Harbour Road 12", "555-0199", "1340 ft asl", "2024-05-31")


def spoiled(rng, number, shop):
    """Return a sheet with words of the house in every place that a sheet has."""
    word = rng.choice(HOUSE)
    fields = {**FIELDS, "shop": shop, "sheet_id": f"q-{number}", "notes": f"for {word}",
              "engine": f"{word} port", "elevation": "1340 ft", "tested_on": "2024-05-31",
              "customer": word, "barometer": "28.43"}  # fmt: skip
    places = {
        "sheet_id": lambda: f"{shop} {number}",
        "family": lambda: f"{shop.upper()} special",
        "sheet_id ": lambda: f"rung {HOUSE[4]} no {number}",
        "family ": lambda: f"call {HOUSE[2]}",
    }
    place = rng.choice(list(places))
    fields[place.strip()] = places[place]()
    heads = [*PULL[0], rng.choice([f"remark {word}", word, "customer"])]
    pull = [heads, *((*row, rng.choice([word, shop, ""])) for row in PULL[1:])]
    lines = [f"{name}: {text}" for name, text in fields.items()]
    rows = [",".join(f'"{cell}"' for cell in row) for row in pull]
    return "\n".join(["---", *lines, "---", *rows, ""])


def leaving(folder, shop, archive):
    """Return the names and the texts of all that may leave: accepted sheets, and a pack of them."""
    pack.pack(folder, signatures.signer(KEY, shop), 10_000, archive)
    texts = [f"{p.name} {p.read_text()}" for p in (folder / "accepted").iterdir()]
    with zipfile.ZipFile(io.BytesIO(archive.read_bytes())) as packed:
        texts += [f"{n} {packed.read(n).decode()}" for n in packed.namelist()]
    return texts


def test_five_hundred_sheets_with_words_of_the_house_in_every_place(tmp_path):
    rng = random.Random(17)  # noqa: S311 - invented words
    total = 0
    for shop in SHOPS:
        folder = tmp_path / shop.split()[0] / f"{HOUSE[0]} {shop}"
        folder.mkdir(parents=True)
        for number in range(168):
            (folder / f"{shop} {number}.csv").write_text(spoiled(rng, number, shop))
        out = tmp_path / f"out {shop}"
        outcome = contribute([folder], out, KEY)
        total += len(outcome.plan.accepted)
        assert len(outcome.plan.accepted) + len(outcome.plan.refused) == 168
        found = "\n".join(leaving(out, shop, tmp_path / "p.zip")).casefold()
        texts = (*HOUSE, *SHOPS)
        words = {w for text in texts for w in re.findall(r"[a-z]{4,}", text.casefold())}
        words |= {"1340 ft", "28.43", "05-31", "555-0199"}
        words -= {"marine", "engines", "sons", "road"}
        assert not {word for word in words if word in found}
    assert total > 400  # a heading of figures alone leaves a sheet without a table


def test_the_demos_shops_and_its_weather_stay_at_home(demo):
    shared = demo.folder / "shared" / "accepted"
    text = "\n".join(f"{p.name} {p.read_text()}" for p in shared.iterdir()).casefold()
    for made in demo.made:
        assert made.shop.name.casefold() not in text
    for word in ("barometer", "air_temperature", "relative_humidity", "elevation", "notes"):
        assert word not in text
    days = {made.day.isoformat() for made in demo.made}
    assert not {day for day in days if day in text}
    boats = {made.engine.casefold() for made in demo.made if len(made.engine) > 5}
    assert not {boat for boat in boats if boat in text}


@pytest.mark.parametrize("shop", SHOPS)
def test_the_leak_test_would_find_a_leak(shop):
    text = spoiled(random.Random(3), 1, shop)  # noqa: S311
    assert shop.casefold() in text.casefold()
