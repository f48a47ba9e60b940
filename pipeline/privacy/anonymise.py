"""Replace names by codes before a sheet leaves the shop.

The shop gets the code that its signature proves. Engines, and the names of sheets and families that
tell too much, get codes of the shop and the name together, under a key that only the contributor
has: without it nobody can find the name, not even by trying every name, nor see that two shops have
one key.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pullbook.pipeline.privacy import identity_leaks, signatures
from pullbook.schemas.fields import FIELDS, WITHHELD
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from pullbook.pipeline.values.sheet import Sheet

_TEXTS = ("sheet_id", "family")
_SHORT = 10


def code(key: bytes, shop: str) -> str:
    """Return the code of a shop: 32 hexadecimal digits.

    >>> code(b"key", "Tern  Quay Marine") == code(b"key", "tern quay marine ")
    True
    """
    return signatures.signer(key, shop).code


def own_code(key: bytes, shop: str, text: str) -> str:
    """Return the code of a text of a shop: 32 hexadecimal digits, of no other shop's text.

    >>> own_code(b"key", "Tern Quay", "0417") == own_code(b"key", "Withy Lock", "0417")
    False
    """
    of_shop = code(key, shop) if shop else ""
    return signatures.keyed_digest(key, f"{of_shop} {text}").hex()[: signatures.CODE_CHARS]


def engine_code(key: bytes, shop: str, engine: str) -> str:
    """Return the code of an engine: sheets of one shop share it, and no two shops do.

    >>> engine_code(b"key", "Tern Quay", "Lugworm") == engine_code(b"key", "tern quay", "LUGWORM")
    True
    >>> engine_code(b"key", "Tern Quay", "E1") == engine_code(b"key", "Withy Lock", "E1")
    False
    """
    return f"engine-{own_code(key, shop, engine)[:_SHORT]}"


def anonymise(sheet: Sheet, key: bytes, words: tuple[str, ...] = ()) -> None:
    """Replace the shop's name by its code and drop what could identify the shop, in place.

    Free text, the weather and the dyno's location are dropped. The name of the engine becomes a
    code. The names of sheet and family become codes if they contain the shop's name or one of the
    ``words`` that are never shared, or more than a name, or are only the name of a file.
    """
    for name in WITHHELD:
        sheet.values.pop(name, None)
    shop = str(sheet.values.get("shop", ""))
    sheet.values["shop"] = code(key, shop)
    engine = sheet.values.get("engine")
    if isinstance(engine, str):
        sheet.values["engine"] = engine_code(key, shop, engine)
    for name in _TEXTS:
        text = sheet.values.get(name)
        if isinstance(text, str):
            of_file = name not in sheet.rows
            private, finding = private_name(key, name, text, shop, of_file=of_file, words=words)
            sheet.values[name] = private
            if finding is not None:
                sheet.findings.append(replace(finding, row=sheet.rows.get(name)))
    sheet.sheet_id = str(sheet.values["sheet_id"])


def private_name(
    key: bytes, field: str, text: str, shop: str, *, of_file: bool, words: tuple[str, ...] = ()
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
    words
        Words that are never shared, such as a customer's name.

    """
    title = FIELDS[field].title
    code_, reason = "text-withheld", identity_leaks.more_than_a_name(text)
    if shop and identity_leaks.names(shop, text):
        code_, reason = "name-withheld", "contains the shop's name"
    elif any(identity_leaks.names(word, text) for word in words):
        code_, reason = "name-withheld", "contains a word that your settings keep private"
    elif reason is None and of_file:
        reason = "is the name of a file"
    if reason is not None:
        finding = Finding(code_, f"{title} {reason}; it was replaced by a code.", field)
        return f"{field.removesuffix('_id')}-{own_code(key, shop, text)[:_SHORT]}", finding
    word = identity_leaks.hint(shop, text)
    if word is None:
        return text, None
    message = (
        f"{title} contains {word!r} from the shop's name and is shared as it is. Rename it if it"
        " gives you away."
    )
    return text, Finding("name-hint", message, field, None, text)
