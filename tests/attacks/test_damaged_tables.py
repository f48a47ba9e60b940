"""A damaged table or array among what is searched is one sentence, and the rest is searched."""

import zipfile

import numpy as np
import pandas as pd
import pytest
from command_line import run

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
    assert f"{name}: it cannot be read, so it was not searched" in said
    assert "z.md holds shop" in said


def test_audit_does_not_say_that_nothing_is_left_of_what_it_could_not_read(tmp_path):
    request = tmp_path / "request.json"
    request.write_text(withdraw.request(signatures.signer(KEY, SHOP), [], 9).as_text())
    (tmp_path / "a.parquet").write_bytes(b"PAR1")
    done = run("audit", tmp_path / "a.parquet", "--request", request)
    assert done.returncode == 1
    assert "nothing is left in what could be searched" in done.stdout


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
