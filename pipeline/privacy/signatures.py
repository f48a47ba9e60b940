"""Who speaks: signatures of a shop, that only its key can make and everybody can check.

A shop's name under the contributor's key (HMAC-SHA-256, RFC 2104) seeds an Ed25519 key pair (RFC
8032); the shop's code is the start of the SHA-256 of the public key. So the code gives no name
away, whoever has the key can always speak as the shop, and nobody else can.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import (
    Ed25519PrivateKey,
    Ed25519PublicKey,
)
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from pullbook.pipeline.values.sheet import SIGNATURE_FIELDS
from pullbook.schemas.errors import PullbookError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

#: A code is the first 128 bits of a digest; RFC 2104, section 5, recommends at least half.
CODE_CHARS = 32
#: Number of characters of a shop's code that pages and file names show.
SHORT_CODE = 8
_KEY, _SIGNATURE = re.compile(r"[0-9a-f]{64}"), re.compile(r"[0-9a-f]{128}")
_COUNT = re.compile(r"[1-9][0-9]{0,14}")


@dataclass(frozen=True, slots=True)
class Signature:
    """A signature, with what it takes to check it.

    Attributes
    ----------
    public_key
        The signer's public key, hexadecimal.
    count
        The signer's own count of what it signed: higher is later.
    signature
        The signature, hexadecimal.
    """

    public_key: str
    count: int
    signature: str

    @property
    def code(self) -> str:
        """The code of the shop that signed."""
        return code_of(self.public_key)

    def holds(self, kind: str, content: str) -> bool:
        """Return whether it is the signer's, of this content as a thing of this kind."""
        try:
            _public(self.public_key).verify(
                bytes.fromhex(self.signature),
                _signed(kind, self.public_key, self.count, content),
            )
        except (InvalidSignature, ValueError):
            return False
        return True

    def as_fields(self) -> dict[str, str]:
        """Return it as the fields of `SIGNATURE_FIELDS`."""
        values = (self.public_key, str(self.count), self.signature)
        return dict(zip(SIGNATURE_FIELDS, values, strict=True))


def of_fields(fields: Mapping[str, str]) -> Signature | None:
    """Return the signature in `SIGNATURE_FIELDS`; ``None`` if one is missing or misshapen."""
    key, count, signature = (str(fields.get(name, "")).strip() for name in SIGNATURE_FIELDS)
    if not (_KEY.fullmatch(key) and _COUNT.fullmatch(count) and _SIGNATURE.fullmatch(signature)):
        return None
    return Signature(key, int(count), signature)


class RecordError(PullbookError, ValueError):
    """A text that is no record of the wanted form."""


class NotSignedError(PullbookError, ValueError):
    """A record whose signature is missing or does not hold."""


def record_text(form: str, entries: Mapping[str, object], signature: Signature) -> str:
    """Return a signed record as JSON: its form, its entries and its signature."""
    return json.dumps({"format": form, **entries, **signature.as_fields()}, indent=2) + "\n"


def read_record(
    text: str, form: str, kind: str, content: Callable[[Mapping[str, Any]], str]
) -> tuple[dict[str, Any], Signature]:
    """Return the entries of a record that `record_text` made, and its signature, which holds.

    Parameters
    ----------
    text
        The record.
    form
        The form that it must have.
    kind
        What it is signed as.
    content
        Returns what was signed of the entries; what it raises makes the record none.

    Raises
    ------
    RecordError
        It is no record of this form.
    NotSignedError
        Its signature is missing or does not hold.

    """
    try:
        record = json.loads(text)
        known, signed, signature = record["format"] == form, content(record), of_fields(record)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as error:
        raise RecordError from error
    if not known or signature is None or not signature.holds(kind, signed):
        raise NotSignedError
    return record, signature


class Signer:
    """A shop that can sign.

    Parameters
    ----------
    key
        The contributor's key.
    shop
        The shop's name; case and spacing do not matter.

    >>> signer = Signer(b"key", "Tern Quay Marine")
    >>> signer.code == Signer(b"key", "tern  quay marine ").code
    True
    >>> signer.sign("sheet", 1, "text").holds("sheet", "text")
    True
    >>> signer.sign("sheet", 1, "text").holds("sheet", "another text")
    False
    """

    def __init__(self, key: bytes, shop: str) -> None:
        self._private = Ed25519PrivateKey.from_private_bytes(keyed_digest(key, shop))
        raw = self._private.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw)
        self.public_key = raw.hex()
        self.code = code_of(self.public_key)

    def sign(self, kind: str, count: int, content: str) -> Signature:
        """Return the signature of a content, as a thing of a kind: a sheet, a withdrawal."""
        signed = self._private.sign(_signed(kind, self.public_key, count, content))
        return Signature(self.public_key, count, signed.hex())


@lru_cache(maxsize=256)
def signer(key: bytes, shop: str) -> Signer:
    """Return the signer of a shop; making it takes longer than signing, so it is kept."""
    return Signer(key, shop)


def keyed_digest(key: bytes, text: str) -> bytes:
    """Return the HMAC-SHA-256 of a text, 32 bytes; case and spacing do not matter."""
    plain = " ".join(unicodedata.normalize("NFKC", text).casefold().split())
    return hmac.new(key, plain.encode("utf-8", "surrogatepass"), hashlib.sha256).digest()


@lru_cache(maxsize=4096)
def code_of(public_key: str) -> str:
    """Return the code of the shop with a public key, 32 hexadecimal digits."""
    return hashlib.sha256(bytes.fromhex(public_key)).hexdigest()[:CODE_CHARS]


@lru_cache(maxsize=4096)
def _public(public_key: str) -> Ed25519PublicKey:
    return Ed25519PublicKey.from_public_bytes(bytes.fromhex(public_key))


def _signed(kind: str, public_key: str, count: int, content: str) -> bytes:
    """Return the bytes that are signed: never those of a thing of another kind, count or signer."""
    head = f"pullbook {kind} 1\n{public_key}\n{count}\n"
    return (head + content).encode("utf-8", "surrogatepass")
