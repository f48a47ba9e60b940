"""A damaged table or array among what is searched is one sentence, and the rest is searched."""

import zipfile

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from command_line import run
from peak_memory import peak
from pyarrow import parquet

from pullbook.pipeline.curation import withdrawn_traces
from pullbook.pipeline.privacy import signatures, withdraw

KEY, SHOP = b"the key of the shop, long enough it is", "Tern Quay Marine"


@pytest.mark.parametrize("name", ["a.parquet", "a.npz"])
@pytest.mark.parametrize("harm", ["cut", "bits", "text", "empty", "one array"])
def test_audit_names_what_it_cannot_read_and_searches_the_rest(tmp_path, name, harm):
    signer = signatures.signer(KEY, SHOP)
    request = tmp_path / "request.json"
    request.write_text(withdraw.request(signer, [], 9).as_text())
    place = tmp_path / "place"
    place.mkdir()
    (place / "z.md").write_text(f"of the shop {signer.code}")
    path = place / name
    if name.endswith("npz"):
        np.savez(path, one=np.arange(400))
    else:
        pd.DataFrame({"shop": ["x"] * 400, "sheet_id": [str(i) for i in range(400)]}).to_parquet(
            path
        )
    data = path.read_bytes()
    middle = len(data) // 2
    if harm == "one array":
        np.save(path.with_suffix(".npy"), np.arange(4))
        path.with_suffix(".npy").replace(path)
    else:
        path.write_bytes({
            "cut": data[:middle], "bits": data[: middle - 200] + b"\xff" * 400 + data[middle:],
            "text": b"not a table", "empty": b"",
        }[harm])  # fmt: skip
    done = run("audit", place, "--request", request)
    assert done.returncode == 1
    assert "error in the program" not in done.stderr
    said = " ".join(done.stderr.split())
    assert f"{name}: it cannot be read or is too large, so it was not searched" in said
    assert "z.md holds shop" in said


def test_audit_does_not_say_that_nothing_is_left_of_what_it_could_not_read(tmp_path):
    request = tmp_path / "request.json"
    request.write_text(withdraw.request(signatures.signer(KEY, SHOP), [], 9).as_text())
    (tmp_path / "a.parquet").write_bytes(b"PAR1")
    done = run("audit", tmp_path / "a.parquet", "--request", request)
    assert done.returncode == 1
    assert "nothing is left in what could be searched" in done.stdout


def long_text_in_many_rows(path):
    text = pa.DictionaryArray.from_arrays(
        pa.array(np.zeros(2_000_000, dtype=np.int32)), pa.array(["x" * 100_000])
    )
    parquet.write_table(pa.table({"sheet_id": text}), path)


def more_rows_than_a_table_has(path):
    with parquet.ParquetWriter(path, pa.schema([("shop", pa.string())])) as out:
        lot = pa.table({"shop": pa.array([None] * 10_000_000, pa.string())})
        for _ in range(21):
            out.write_table(lot)


def zeros(path):
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("a.npy", "w", force_zip64=True) as out,
    ):
        for _ in range(300):
            out.write(bytes(1_000_000))


@pytest.mark.parametrize(
    ("make", "name", "searched"),
    [
        (long_text_in_many_rows, "a.parquet", True),
        (more_rows_than_a_table_has, "a.parquet", False),
        (zeros, "a.npz", False),
    ],
)
def test_audit_of_a_small_file_that_claims_a_lot_costs_little(tmp_path, make, name, searched):
    signer = signatures.signer(KEY, SHOP)
    one = withdraw.request(signer, [], 9)
    make(tmp_path / name)
    assert (tmp_path / name).stat().st_size < 500_000
    said, before = [], peak(anew=True)
    assert list(withdrawn_traces.left([tmp_path], [one], said.append)) == []
    assert bool(said) is not searched
    assert peak() - before < 300


def test_audit_finds_a_shop_in_any_column_of_texts_and_the_index(tmp_path):
    signer = signatures.signer(KEY, SHOP)
    code = signer.code
    pd.DataFrame({"note": ["x", f"by {code}"]}).to_parquet(tmp_path / "a.parquet")
    pd.DataFrame({"x": [1.0]}, index=pd.Index([code], name="who")).to_parquet(
        tmp_path / "b.parquet"
    )
    pd.DataFrame({"who": [[code]]}).to_parquet(tmp_path / "c.parquet")
    pd.DataFrame({"who": ["x"]}).to_parquet(tmp_path / "d.parquet")
    found = withdrawn_traces.left([tmp_path], [withdraw.request(signer, [], 9)], lambda _: None)
    assert [file.name for file, _ in found] == ["a.parquet", "b.parquet", "c.parquet"]


@pytest.mark.parametrize("harm", ["flipped", "cut", "locked"])
def test_a_damaged_pack_is_one_sentence(tmp_path, harm):
    path = tmp_path / "p.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.csv", "abc,def\n" * 2000)
        archive.writestr("pack.json", "{}")
    data = bytearray(path.read_bytes())
    if harm == "flipped":
        data[40:60] = b"\xff" * 20
    elif harm == "cut":
        del data[len(data) // 2 :]
    else:
        data[6] |= 1  # the first file needs a password
        data[data.index(b"PK\x01\x02") + 8] |= 1
    path.write_bytes(bytes(data))
    done = run("unpack", path, "--into", tmp_path / "out")
    assert done.returncode == 2
    assert "is no pack of sheets" in " ".join(done.stderr.split())
    assert not (tmp_path / "out").exists()
