"""Replace names by codes before a sheet leaves the shop.

The code of a name is its HMAC-SHA-256 under a key that only the contributor has. Without the key
nobody can find the name, not even by trying every name; with it the same name always gives the
same code, so that the contributor can predict as that shop.
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
from pullbook.schemas.fields import FIELDS, WITHHELD
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from pathlib import Path

    from pullbook.pipeline.values.sheet import Sheet

#: A code is the first 128 bits; RFC 2104, section 5, recommends at least half.
_CODE_CHARS = 32
_CODE = re.compile(rf"^[0-9a-f]{{{_CODE_CHARS}}}$")
_TEXTS = ("sheet_id", "family")
_SHORT = 10


class KeyFileError(InputError):
    """A key file that does not exist, is empty or cannot be written."""


def default_key_file() -> Path:
    """Return the path of the contributor's key in the user's configuration folder."""
    import platformdirs  # noqa: PLC0415 - only where no key file is named

    return platformdirs.user_config_path("pullbook") / "contributor.key"


def read_key(path: Path) -> bytes:
    """Return the key in a file.

    Raises
    ------
    KeyFileError
        The file does not exist, cannot be read or is empty.

    """
    try:
        key = path.read_bytes().strip()
    except OSError as error:
        msg = f"the key file {path} cannot be read: {error.strerror}"
        raise KeyFileError(msg) from error
    if not key:
        msg = f"the key file {path} is empty; restore it from a copy, or name another file"
        raise KeyFileError(msg)
    return key


def make_key(path: Path) -> bytes:
    """Return the key in a file; if the file does not exist, make it with mode 0600.

    Raises
    ------
    KeyFileError
        The file cannot be written or read.

    """
    if path.exists():
        return read_key(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(secrets.token_hex(32) + "\n")
    except FileExistsError:
        pass  # another run made it first
    except OSError as error:
        msg = f"the key file {path} cannot be written: {error.strerror}"
        raise KeyFileError(msg) from error
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


def engine_code(key: bytes, shop: str, engine: str) -> str:
    """Return the code of an engine: sheets of one shop share it, and no two shops do.

    >>> engine_code(b"key", "Tern Quay", "Lugworm") == engine_code(b"key", "tern quay", "LUGWORM")
    True
    >>> engine_code(b"key", "Tern Quay", "E1") == engine_code(b"key", "Withy Lock", "E1")
    False
    """
    return f"engine-{code(key, f'{code(key, shop)} {engine}')[:_SHORT]}"


def is_code(text: object) -> bool:
    """Return whether a text has the form of a code."""
    return isinstance(text, str) and _CODE.match(text) is not None


def anonymise(sheet: Sheet, key: bytes) -> None:
    """Replace the shop's name by its code and drop what could identify the shop, in place.

    Free text and the dyno's location are dropped. The name of the engine becomes a code. The names
    of sheet and family become codes if they contain the shop's name or more than a name, or are
    only the name of a file. A sheet that already has a code keeps it.
    """
    for name in WITHHELD:
        sheet.values.pop(name, None)
    shop = sheet.values.get("shop")
    if not isinstance(shop, str) or is_code(shop):
        return
    sheet.values["shop"] = code(key, shop)
    engine = sheet.values.get("engine")
    if isinstance(engine, str):
        sheet.values["engine"] = engine_code(key, shop, engine)
    for name in _TEXTS:
        text = sheet.values.get(name)
        if isinstance(text, str):
            private, finding = private_name(key, name, text, shop, of_file=name not in sheet.rows)
            sheet.values[name] = private
            if finding is not None:
                sheet.findings.append(replace(finding, row=sheet.rows.get(name)))
    sheet.sheet_id = str(sheet.values["sheet_id"])


def private_name(
    key: bytes, field: str, text: str, shop: str, *, of_file: bool
) -> tuple[str, Finding | None]:
    """Return a name as it may be shared, and a finding if something is in it.

    Parameters
    ----------
    key
        The contributor's key.
    field
        Which name it is: ``sheet_id`` or ``family``.
    text
        The name.
    shop
        The shop's name; empty if not known.
    of_file
        Whether it is only the name of a file.

    """
    title = FIELDS[field].title
    code_, reason = "text-withheld", identity_leaks.more_than_a_name(text)
    if shop and identity_leaks.names(shop, text):
        code_, reason = "name-withheld", "contains the shop's name"
    elif reason is None and of_file:
        reason = "is the name of a file"
    if reason is not None:
        finding = Finding(code_, f"{title} {reason}; it was replaced by a code.", field)
        return f"{field.removesuffix('_id')}-{code(key, text)[:_SHORT]}", finding
    word = identity_leaks.hint(shop, text)
    if word is None:
        return text, None
    message = (
        f"{title} contains {word!r} from the shop's name and is shared as it is. Rename it if it"
        " gives you away."
    )
    return text, Finding("name-hint", message, field, None, text)
