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
from itertools import pairwise
from typing import TYPE_CHECKING

from pipeline.headings import squash
from schemas.fields import WITHHELD
from schemas.findings import Finding

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.sheet import Sheet

#: A code is the first 128 bits; RFC 2104, section 5, recommends no less than half.
_CODE_CHARS = 32
_CODE = re.compile(rf"^[0-9a-f]{{{_CODE_CHARS}}}$")
_SHORTEST_NAME = 3
_TEXTS = ("sheet_id", "family")
_SHORT, _LONG_ENOUGH, _LONGEST_NAME = 10, 6, 80
#: Words of shops' names that tell nobody apart. Common practice, no source.
_TRADE = frozenset(
    {"auto", "boat", "boats", "company", "dyno", "engine", "engineering", "engines", "garage",
     "limited", "machine", "marine", "motor", "motors", "performance", "racing", "rebuild",
     "rebuilds", "rebuilders", "service", "shop", "sons", "works", "workshop", "yard"}
)  # fmt: skip
#: What a name of a sheet or a family may hold that tells who is behind it.
_TELLING = (
    ("holds a mail address", re.compile(r"\S@\S+\.\w")),
    ("holds a date", re.compile(
        r"(?<!\d)(?:(?:19|20)\d\d[-./]\d\d?[-./]\d\d?|\d\d?[./]\d\d?[./](?:19|20)?\d\d)(?!\d)")),
    ("holds a phone number", re.compile(
        r"\+\d[\d ()-]{6,}\d|\(\d{3,5}\) ?\d{3}|(?<!\d)\d{3}[-. ]\d{3,4}[-. ]\d{4}(?!\d)"
        r"|\b(?:tel|phone|call|fax)\b\D{0,4}(?:\d[ -]?){5}", re.IGNORECASE)),
    ("holds a serial number", re.compile(
        r"(?i:\b(?:s/n|serial|vin|hull|reg)\b\W{0,3}\w*\d)"
        r"|\b(?=\w*\d)(?=\w*[A-Z])[A-HJ-NPR-Z0-9]{17}\b")),
)  # fmt: skip


class KeyFileError(OSError):
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
    return hmac.new(key, plain.encode(), hashlib.sha256).hexdigest()[:_CODE_CHARS]


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
        if not isinstance(text, str):
            continue
        row = sheet.rows.get(name)
        if names(shop, text):
            message = f"{name} held the shop's name and was replaced by a code"
            sheet.findings.append(Finding("name-withheld", message, name, row))
        elif (why := _more_than_a_name(text)) or name not in sheet.rows:
            message = f"{name} {why or 'is the name of a file'} and was replaced by a code"
            sheet.findings.append(Finding("text-withheld", message, name, row))
        else:
            if word := hint(shop, text):
                message = f"{name} holds {word!r}, as the shop's name does, and travels as it is"
                sheet.findings.append(Finding("name-hint", message, name, row, text))
            continue
        sheet.values[name] = f"{name.removesuffix('_id')}-{code(key, text)[:_SHORT]}"
    sheet.sheet_id = str(sheet.values["sheet_id"])


def _more_than_a_name(text: str) -> str | None:
    """Return what a name holds that tells who is behind it, if anything."""
    if len(text) > _LONGEST_NAME or not text.isprintable():
        return "is a free text"
    return next((what for what, pattern in _TELLING if pattern.search(text)), None)


def _words(shop: str) -> list[str]:
    return [squash(word) for word in re.findall(r"\w+", shop)]


def names(shop: str, text: str) -> bool:
    """Tell whether a text holds the shop's name, or two words of it that follow one another."""
    short, words = squash(text), _words(shop)
    whole = "".join(words)
    parts = [a + b for a, b in pairwise(words) if len(a + b) >= _LONG_ENOUGH]
    return len(whole) >= _SHORTEST_NAME and any(part in short for part in (whole, *parts))


def hint(shop: str, text: str) -> str | None:
    """Return the word of the shop's name, or its initials, that a text holds; ``None`` if none."""
    words = _words(shop)
    found = [w for w in words if len(w) > _SHORTEST_NAME and w not in _TRADE and w in squash(text)]
    initials = "".join(word[0] for word in words if word)
    if len(initials) >= _SHORTEST_NAME and initials in map(squash, re.findall(r"\w+", text)):
        found.append(initials)
    return found[0] if found else None


def withhold(shop: str | None, text: str, instead: str) -> str:
    """Return a text with every mention of the shop's name replaced."""
    if shop is None or len(squash(shop)) < _SHORTEST_NAME:
        return text
    letters = [re.escape(letter) for letter in squash(shop)]
    return re.sub(r"[\s_\-]*".join(letters), instead, text, flags=re.IGNORECASE)
