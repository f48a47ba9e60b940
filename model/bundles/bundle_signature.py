"""Signed bundles: who trained one, and whether that is somebody the user trusts.

A bundle is checked for soundness, not for truth: whoever trains one can train it on anything. A
signature says whose it is. It is of the manifest, which names every other file with its digest.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from pullbook.model.bundles.bundle_folder import BundleError
from pullbook.pipeline.privacy import signatures
from pullbook.pipeline.storage import regular_files

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from pullbook.model.bundles.bundle_folder import Contents

_FORMAT, _KIND = "pullbook bundle signature 1", "bundle"
#: The name that a key signs bundles under; no shop has it, so no shop is linked by it.
_NAME = "\x00 bundles \x00"
_LINE = re.compile(r"[0-9a-f]{64}")
_MOST_BYTES = 100_000


def signer(key: bytes) -> signatures.Signer:
    """Return what signs bundles with a contributor's key."""
    return signatures.signer(key, _NAME)


def sign(by: signatures.Signer, digest: str) -> str:
    """Return the signature of a bundle, by the digest of its manifest, as the text of a file."""
    return signatures.record_text(_FORMAT, {"manifest": digest}, by.sign(_KIND, 1, digest))


def trusted_keys(path: Path) -> frozenset[str]:
    """Return the public keys in a file: one a line, with remarks after a #.

    Raises
    ------
    BundleError
        The file cannot be read, or a line is no key.

    """
    try:
        text = regular_files.read(path, _MOST_BYTES).decode()
    except (OSError, UnicodeDecodeError) as fault:
        msg = f"{path} cannot be read as a file of trusted keys"
        raise BundleError(msg) from fault
    found = set()
    for row, line in enumerate(text.split("\n"), start=1):
        key = line.partition("#")[0].strip().casefold()
        if not key:
            continue
        if not _LINE.fullmatch(key):
            msg = (
                "this line is no key: 64 digits and letters a to f, as pullbook train --sign prints"
            )
            raise BundleError(msg, file=path, row=row)
        found.add(key)
    if not found:
        msg = f"{path} holds no key; put the line there that pullbook train --sign prints"
        raise BundleError(msg)
    return frozenset(found)


def check(contents: Contents, trusted: frozenset[str] | None, folder: Path) -> None:
    """Check the signature of a bundle, if it has one or one is asked for.

    Raises
    ------
    BundleError
        It does not hold, or is missing or by another key where ``trusted`` names whose it must be.

    """
    if not contents.signature:
        if trusted is not None:
            msg = (
                f"the bundle {folder} is not signed, and --trust asks for one of the keys you"
                " trust; ask for a signed one (pullbook train --sign)"
            )
            raise BundleError(msg)
        return
    try:
        record, signature = signatures.read_record(contents.signature, _FORMAT, _KIND, _signed)
    except (signatures.NotSignedError, signatures.RecordError) as fault:
        msg = f"the signature of the bundle {folder} does not hold; copy the bundle again"
        raise BundleError(msg) from fault
    if record["manifest"] != contents.digest:
        msg = f"the signature in {folder} is of another bundle; copy the bundle again"
        raise BundleError(msg)
    if trusted is not None and signature.public_key not in trusted:
        msg = (
            f"the bundle {folder} is signed by {signature.public_key}, which is not among the keys"
            " you trust"
        )
        raise BundleError(msg)


def _signed(record: Mapping[str, Any]) -> str:
    return str(record["manifest"])
