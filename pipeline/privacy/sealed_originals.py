"""Originals kept byte for byte, sealed: readable only with the contributor's key.

A refused sheet must not be lost, and its shop's name must not be written in clear. So its file is
kept encrypted (AES-SIV, RFC 5297) under a key that is derived from the contributor's (HKDF,
RFC 5869). The same file gives the same sealed bytes.
"""

from __future__ import annotations

import base64
import json
from pathlib import Path

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESSIV
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from pullbook.schemas.errors import InputError

SUFFIX = ".sealed"
_PURPOSE = b"pullbook: originals of refused sheets"


class SealError(InputError):
    """A sealed file that this key does not open, or that was altered."""


def _cipher(key: bytes) -> AESSIV:
    return AESSIV(HKDF(SHA256(), 64, salt=None, info=_PURPOSE).derive(key))


def seal(key: bytes, name: str, data: bytes) -> bytes:
    """Return a file sealed, its name with it, as lines of base64."""
    head = json.dumps(name).encode()
    return base64.encodebytes(_cipher(key).encrypt(head + b"\n" + data, [_PURPOSE]))


def unseal(key: bytes, sealed: bytes) -> tuple[str, bytes]:
    """Return name and bytes of a sealed file.

    Raises
    ------
    SealError
        The key is another's, or the bytes were altered.

    """
    try:
        head, _, data = _cipher(key).decrypt(base64.b64decode(sealed), [_PURPOSE]).partition(b"\n")
    except (InvalidTag, ValueError) as fault:
        msg = "the key does not open it: it was sealed with another, or altered"
        raise SealError(msg) from fault
    return Path(json.loads(head)).name, data
