"""Encrypted copies of original files, readable only with the contributor's key.

A refused sheet must not be lost, and its shop's name must not be written in clear. So its file is
encrypted (AES-SIV, RFC 5297) with a key derived from the contributor's key (HKDF, RFC 5869). The
same file always gives the same encrypted bytes.
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
    """An encrypted file that this key does not open, or that was changed."""


def _cipher(key: bytes) -> AESSIV:
    return AESSIV(HKDF(SHA256(), 64, salt=None, info=_PURPOSE).derive(key))


def seal(key: bytes, name: str, data: bytes) -> bytes:
    """Encrypt a file together with its name; return lines of base64."""
    head = json.dumps(name).encode()
    return base64.encodebytes(_cipher(key).encrypt(head + b"\n" + data, [_PURPOSE]))


def unseal(key: bytes, sealed: bytes) -> tuple[str, bytes]:
    """Decrypt a file; return its name and bytes.

    Raises
    ------
    SealError
        The key is not the one it was encrypted with, or the bytes were changed.

    """
    try:
        head, _, data = _cipher(key).decrypt(base64.b64decode(sealed), [_PURPOSE]).partition(b"\n")
    except (InvalidTag, ValueError) as error:
        msg = "the original cannot be opened: it was sealed with another key, or changed since"
        raise SealError(msg) from error
    return Path(json.loads(head)).name, data
