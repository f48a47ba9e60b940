"""One signed archive of one shop's accepted sheets, to send and to unpack."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
import zlib
from typing import TYPE_CHECKING, Any

from pullbook.pipeline.privacy import signatures
from pullbook.pipeline.privacy.refused_sheets import (
    ACCEPTED,
    NAME_CHARS,
)
from pullbook.pipeline.reading import sheet_file
from pullbook.pipeline.storage import locks, regular_files, whole_writes
from pullbook.schemas.errors import InputError, must_exist

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from pullbook.pipeline.privacy.signatures import Signature, Signer

KIND, MANIFEST = "pack", "pack.json"
_FORMAT = "pullbook pack 1"
#: The day that every entry is given: a pack holds no days, and the same sheets give the same bytes.
_DAY = (1980, 1, 1, 0, 0, 0)
_MOST_BYTES, _MOST_FILES, _MOST_MANIFEST = 100_000_000, 100_000, 20_000_000
#: What a damaged archive, or one that is no pack, makes the libraries raise.
_DAMAGED = (
    OSError, ValueError, KeyError, EOFError, RuntimeError, zipfile.BadZipFile, zlib.error,
)  # fmt: skip


class PackError(InputError):
    """A pack that cannot be made, or that is not as its shop signed it."""


def sheets_of(folder: Path, code: str) -> list[Path]:
    """Return the accepted sheets of a shop in a contribution."""
    found = []
    for path in sorted((folder / ACCEPTED).glob(f"{code[:NAME_CHARS]}-*.csv")):
        signature = signatures.of_fields(sheet_file.read_first(path).signature)
        if signature is not None and signature.code == code:
            found.append(path)
    return found


def pack(folder: Path, signer: Signer, count: int, into: Path) -> int:
    """Write one archive of a shop's accepted sheets; return how many it holds.

    Parameters
    ----------
    folder
        The contribution.
    signer, count
        The shop, and its next count.
    into
        The file to write.

    Raises
    ------
    PackError
        The shop has no accepted sheets there.

    """
    sheets = sheets_of(folder, signer.code)
    if not sheets:
        msg = f"{folder} has no accepted sheets of this shop to pack"
        raise PackError(msg)
    files = {path.name: path.read_bytes() for path in sheets}
    digests = {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}
    signature = signer.sign(KIND, count, _signed({"files": digests}))
    files[MANIFEST] = signatures.record_text(_FORMAT, {"files": digests}, signature).encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in sorted(files):
            entry = zipfile.ZipInfo(name, _DAY)
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, files[name])
    whole_writes.write(into, out.getvalue())
    return len(sheets)


def _signed(record: Mapping[str, Any]) -> str:
    """Return what is signed of a pack: the digests of its files."""
    return json.dumps(dict(record["files"]), sort_keys=True)


def unpack(path: Path, into: Path) -> tuple[str, int]:
    """Check an archive and put its sheets into a contribution; return the shop's code and how many.

    Raises
    ------
    PackError
        It is no pack, or not as its shop signed it; then nothing is written.
    InputError
        There is no such file.

    """
    must_exist(path)
    signature, files = _verified(path)
    (into / ACCEPTED).mkdir(parents=True, exist_ok=True)
    with locks.inside(into):
        for name, data in files.items():
            whole_writes.write(into / ACCEPTED / name, data)
    return signature.code, len(files)


def _verified(path: Path) -> tuple[Signature, dict[str, bytes]]:
    changed = (
        f"{path} is not as its shop signed it; nothing was unpacked. Ask the shop to send it again"
    )
    try:
        data = regular_files.read(path, _MOST_BYTES)
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            files = _read(archive)
        text = files.pop(MANIFEST).decode("utf-8")
        record, signature = signatures.read_record(text, _FORMAT, KIND, _signed)
    except signatures.NotSignedError as error:
        raise PackError(changed) from error
    except _DAMAGED as error:
        msg = f"{path} is no pack of sheets; make one with: pullbook contribute ... --pack FILE"
        raise PackError(msg) from error
    if record["files"] != {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}:
        raise PackError(changed)
    for name, data in files.items():
        own = name.startswith(f"{signature.code[:NAME_CHARS]}-") and name.endswith(".csv")
        if not own or "/" in name or "\\" in name or signature.public_key.encode() not in data:
            msg = f"{path} holds {name!r}, which is no sheet of its shop; nothing was unpacked"
            raise PackError(msg)
    return signature, files


def _read(archive: zipfile.ZipFile) -> dict[str, bytes]:
    """Return the files of an archive, if they are few and small enough."""
    entries = archive.infolist()
    long = any(one.filename == MANIFEST and one.file_size > _MOST_MANIFEST for one in entries)
    size = sum(entry.file_size for entry in entries)
    if long or len(entries) > _MOST_FILES or size > _MOST_BYTES:
        msg = "too large"
        raise ValueError(msg)
    files: dict[str, bytes] = {}
    left = _MOST_BYTES
    for entry in entries:
        with archive.open(entry) as file:
            files[entry.filename] = file.read(left + 1)
        left -= len(files[entry.filename])
        if left < 0 or len(files) != len(set(files)):
            msg = "too large"
            raise ValueError(msg)
    return files
