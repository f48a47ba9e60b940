"""Names that do not travel: a shop's name becomes a keyed code.

The code is HMAC-SHA-256 of the name under a key that only the contributor has. Whoever lacks the
key cannot turn a code back, not even by trying every name; whoever has it gets the same code
again and can ask as that shop.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import re
import secrets
import unicodedata
from dataclasses import replace
from typing import TYPE_CHECKING

from pullbook.pipeline.privacy import identity_leaks
from pullbook.schemas.errors import InputError
from pullbook.schemas.fields import WITHHELD
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from pathlib import Path

    from pullbook.pipeline.values.sheet import Sheet

#: A code is the first 128 bits; RFC 2104, section 5, recommends no less than half.
_CODE_CHARS = 32
_CODE = re.compile(rf"^[0-9a-f]{{{_CODE_CHARS}}}$")
_TEXTS = ("sheet_id", "family")
_SHORT = 10


class KeyFileError(InputError):
    """A key file that is not there, is empty or cannot be made."""


def default_key_file() -> Path:
    """Return where the contributor's key lies in the user's configuration folder."""
    import platformdirs  # noqa: PLC0415 - only where no key file is named

    return platformdirs.user_config_path("pullbook") / "contributor.key"


def read_key(path: Path) -> bytes:
    """Return the key in a file.

    Raises
    ------
    KeyFileError
        There is no such file, or nothing in it.

    """
    try:
        key = path.read_bytes().strip()
    except OSError as fault:
        msg = f"the key file {path} cannot be read: {fault.strerror}"
        raise KeyFileError(msg) from fault
    if not key:
        msg = f"the key file {path} is empty"
        raise KeyFileError(msg)
    return key


def make_key(path: Path) -> bytes:
    """Return the key in a file, made there with mode 0600 if the file does not exist.

    Raises
    ------
    KeyFileError
        The file cannot be made or read.

    """
    if path.exists():
        return read_key(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(secrets.token_hex(32) + "\n")
    except FileExistsError:
        pass  # another run was first
    except OSError as fault:
        msg = f"the key file {path} cannot be made: {fault.strerror}"
        raise KeyFileError(msg) from fault
    return read_key(path)


def code(key: bytes, name: str) -> str:
    """Return the code of a name: 32 hexadecimal digits.

    Case and spacing of the name do not matter.

    >>> code(b"key", "Tern  Quay Marine") == code(b"key", "tern quay marine ")
    True
    """
    plain = " ".join(unicodedata.normalize("NFKC", name).casefold().split())
    return hmac.new(key, plain.encode("utf-8", "surrogatepass"), hashlib.sha256).hexdigest()[
        :_CODE_CHARS
    ]


def is_code(text: object) -> bool:
    """Tell whether a text has the form of a code."""
    return isinstance(text, str) and _CODE.match(text) is not None


def anonymise(sheet: Sheet, key: bytes) -> None:
    """Replace the shop's name by its code and drop what would tell on it, in place.

    Free text and what tells where the dyno stands go. A name that travels is replaced by a code
    of its own where it holds the shop's name or more than a name, or where it is only that of a
    file. A sheet that already carries a code keeps it.
    """
    for name in WITHHELD:
        sheet.values.pop(name, None)
    shop = sheet.values.get("shop")
    if not isinstance(shop, str) or is_code(shop):
        return
    sheet.values["shop"] = code(key, shop)
    for name in _TEXTS:
        text = sheet.values.get(name)
        if isinstance(text, str):
            given, finding = private_name(key, name, text, shop, of_file=name not in sheet.rows)
            sheet.values[name] = given
            if finding is not None:
                sheet.findings.append(replace(finding, row=sheet.rows.get(name)))
    sheet.sheet_id = str(sheet.values["sheet_id"])


def private_name(
    key: bytes, field: str, text: str, shop: str, *, of_file: bool
) -> tuple[str, Finding | None]:
    """Return a name as it may travel, and what was found in it.

    Parameters
    ----------
    key
        The contributor's key.
    field
        Which name it is: ``sheet_id`` or ``family``.
    text
        The name.
    shop
        The shop's name in clear; empty where it is not known.
    of_file
        Whether it is only the name of a file.

    """
    code_, message = "text-withheld", identity_leaks.more_than_a_name(text)
    if shop and identity_leaks.names(shop, text):
        code_, message = "name-withheld", "held the shop's name"
    elif message is None and of_file:
        message = "is the name of a file"
    if message is not None:
        told = Finding(code_, f"{field} {message} and was replaced by a code", field)
        return f"{field.removesuffix('_id')}-{code(key, text)[:_SHORT]}", told
    word = identity_leaks.hint(shop, text)
    if word is None:
        return text, None
    message = f"{field} holds {word!r}, as the shop's name does, and travels as it is"
    return text, Finding("name-hint", message, field, None, text)
