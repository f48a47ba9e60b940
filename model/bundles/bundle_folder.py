"""The folder of a bundle: which files are in it, how large they may be, and what the manifest says.

Nothing in it is trusted. Only regular files of known names are read, each to a limit; the manifest
must have its shape before any entry of it is used, and every file the length and digest it names.
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pullbook.pipeline.storage import plain_text, regular_files
from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

FORMAT = 6
MANIFEST, SIGNATURE = "bundle.json", "signature.json"
CURVE, SPREAD = "curve.txt", "spread.txt"
FILLING, ARRAYS, SHEETS, GOLDEN = "filling.npz", "arrays.npz", "sheets.parquet", "golden.json"
_MB = 1_000_000
#: The files of a bundle and the most bytes of each.
LIMITS: Mapping[str, int] = {
    CURVE: 32 * _MB, SPREAD: 32 * _MB, FILLING: 4 * _MB, ARRAYS: 64 * _MB, SHEETS: 32 * _MB,
    GOLDEN: 2 * _MB,
}  # fmt: skip
FILES = tuple(LIMITS)
_MOST_MANIFEST, _MOST_SIGNATURE = _MB, 10_000
_HEX_64, IDENTITY = re.compile(r"[0-9a-f]{64}"), re.compile(r"[0-9a-f]{16}")


class BundleError(InputError):
    """A bundle that cannot be used; the message says what is wrong and what to do."""

    def __init__(
        self, message: str, *, file: str | Path | None = None, row: int | None = None
    ) -> None:
        super().__init__(plain_text.one_line(message), file=file, row=row)


@dataclass(frozen=True, slots=True)
class Contents:
    """A bundle as it was read: every file has the length and the digest that the manifest names.

    Attributes
    ----------
    manifest
        What the manifest says.
    files
        The other files by name.
    text
        The file of the manifest as it is.
    signature
        Text of the signature; blank if there is none.
    """

    manifest: dict[str, Any]
    files: dict[str, bytes]
    text: bytes
    signature: str

    @property
    def digest(self) -> str:
        """SHA-256 of the manifest; it stands for all files."""
        return hashlib.sha256(self.text).hexdigest()

    def all_files(self) -> dict[str, bytes]:
        """Return all files as they were, to write them elsewhere."""
        signed = {SIGNATURE: self.signature.encode()} if self.signature else {}
        return {MANIFEST: self.text, **self.files, **signed}


def fingerprint(data: bytes) -> dict[str, Any]:
    """Return length and digest of a file, as the manifest holds them."""
    return {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}


def identity(manifest: Mapping[str, Any]) -> str:
    """Return the id of a bundle, made of everything else in its manifest."""
    content = {name: value for name, value in manifest.items() if name != "id"}
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()[:16]


def manifest_text(manifest: Mapping[str, Any]) -> str:
    """Return a manifest as the text of its file."""
    return json.dumps(manifest, indent=1) + "\n"


def check_sizes(files: Mapping[str, bytes]) -> None:
    """Check that the files of a bundle are no larger than a bundle may be.

    Raises
    ------
    BundleError
        One is: nobody could read the bundle.

    """
    for name, data in files.items():
        if len(data) > LIMITS[name]:
            msg = (
                f"{name} of this bundle would have {len(data) / _MB:.0f} MB; the limit is"
                f" {LIMITS[name] / _MB:.0f} MB. Train on fewer sheets or with fewer rounds"
            )
            raise BundleError(msg)


def read(folder: Path) -> Contents:
    """Return the contents of a bundle.

    Raises
    ------
    BundleError
        The folder holds no bundle, one of another format, one that was changed or cut short, or
        something that is no part of a bundle.

    """
    try:
        data = regular_files.read(folder / MANIFEST, _MOST_MANIFEST, follow=False)
        manifest = json.loads(data)
    except (OSError, ValueError, RecursionError) as fault:
        msg = (
            f"{folder} holds no bundle ({MANIFEST} cannot be read); train one with: pullbook train,"
            " or put one in use there with: pullbook promote"
        )
        raise BundleError(msg) from fault
    _check_format(folder, manifest)
    if (odd := _odd_entry(manifest)) is not None:
        msg = (
            f"the bundle {folder} does not verify: {odd} in {MANIFEST} is not valid; copy it again"
        )
        raise BundleError(msg)
    if manifest["id"] != identity(manifest):
        msg = f"the bundle {folder} does not verify: {MANIFEST} was changed; copy it again"
        raise BundleError(msg)
    _check_names(folder)
    files = {name: _verified(folder, manifest, name) for name in FILES}
    return Contents(manifest, files, data, _signature(folder))


def _check_format(folder: Path, manifest: object) -> None:
    found: object = manifest.get("format") if isinstance(manifest, dict) else None
    if found == FORMAT and _is_count(found):
        return
    newer = isinstance(found, int) and found > FORMAT
    cure = (
        "update pullbook"
        if newer
        else "train it again from the curated sheets: pullbook train CURATED --out BUNDLE"
    )
    shown = repr(found) if isinstance(found, int) and found < 1e6 else "that is none"
    msg = f"the bundle {folder} has format {shown}, and this pullbook reads format {FORMAT}; {cure}"
    raise BundleError(msg)


def _is_count(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and value >= 0


def _is_yes_or_no(value: object) -> bool:
    return isinstance(value, bool)


def _are_columns(value: object) -> bool:
    return isinstance(value, list) and all(isinstance(name, str) for name in value)


def _is_mapping(value: object) -> bool:
    return isinstance(value, dict)


def _are_files(value: object) -> bool:
    return (
        isinstance(value, dict)
        and set(value) == set(FILES)
        and all(
            isinstance(one, dict)
            and set(one) == {"bytes", "sha256"}
            and _is_count(one["bytes"])
            and isinstance(one["sha256"], str)
            and _HEX_64.fullmatch(one["sha256"]) is not None
            for one in value.values()
        )
    )


def _is_identity(value: object) -> bool:
    return isinstance(value, str) and IDENTITY.fullmatch(value) is not None


_ENTRIES: Mapping[str, Callable[[object], bool]] = {
    "sheets": _is_count, "shops": _is_count, "invented": _is_yes_or_no, "own_dyno": _is_yes_or_no,
    "columns": _are_columns, "settings": _is_mapping, "files": _are_files, "id": _is_identity,
}  # fmt: skip


def _odd_entry(manifest: Mapping[str, Any]) -> str | None:
    """Return the first entry of a manifest that is missing or has another form."""
    if not _is_yes_or_no(manifest.get("private", False)):
        return "private"
    return next((name for name, sound in _ENTRIES.items() if not sound(manifest.get(name))), None)


def _check_names(folder: Path) -> None:
    own = {MANIFEST, SIGNATURE, *FILES}
    try:
        other = next((one.name for one in folder.iterdir() if one.name not in own), None)
    except OSError as fault:
        msg = f"the folder {folder} cannot be read: {fault.strerror}"
        raise BundleError(msg) from fault
    if other is not None:
        msg = (
            f"the bundle {folder} does not verify: it holds {other!r}, which is no part of a"
            " bundle; remove it or copy the bundle again"
        )
        raise BundleError(msg)


def _verified(folder: Path, manifest: Mapping[str, Any], name: str) -> bytes:
    try:
        data = regular_files.read(folder / name, LIMITS[name], follow=False)
    except OSError as fault:
        why = fault.strerror or str(fault)
        msg = f"the bundle {folder} does not verify: {name} cannot be read ({why}); copy it again"
        raise BundleError(msg) from fault
    if manifest["files"][name] != fingerprint(data):
        msg = f"the bundle {folder} does not verify: {name} was changed or cut short; copy it again"
        raise BundleError(msg)
    return data


def _signature(folder: Path) -> str:
    try:
        return regular_files.read(folder / SIGNATURE, _MOST_SIGNATURE, follow=False).decode()
    except FileNotFoundError:
        return ""
    except (OSError, ValueError) as fault:
        msg = f"the bundle {folder} does not verify: {SIGNATURE} cannot be read; copy it again"
        raise BundleError(msg) from fault
