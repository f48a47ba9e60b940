"""Find what could identify a shop in a text: its name in any spelling, dates, numbers."""

from __future__ import annotations

import re
import unicodedata
from itertools import pairwise

_SHORTEST_NAME, _LONG_ENOUGH, _LONGEST_TEXT = 3, 6, 80
#: Words of shops' names that do not identify a shop. Common practice, no source.
_TRADE = frozenset(
    {"auto", "boat", "boats", "company", "dyno", "engine", "engineering", "engines", "garage",
     "limited", "machine", "marine", "motor", "motoren", "motors", "performance", "racing",
     "rebuild", "rebuilds", "rebuilders", "service", "shop", "sons", "works", "workshop", "yard"}
)  # fmt: skip
#: Letters that are often written as two letters, and letters without a plain form in Unicode.
_DIGRAPHS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ø": "oe", "å": "aa"})
_PLAIN = str.maketrans({"ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe"})
_MONTHS = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec"
_YEAR = r"(?:19|20)\d\d"
_NO_DIGIT_BEFORE, _NO_DIGIT_AFTER = r"(?<![0-9A-Za-z])", r"(?![0-9A-Za-z])"


def _any(*patterns: str) -> re.Pattern[str]:
    inner = "|".join(patterns)
    return re.compile(f"{_NO_DIGIT_BEFORE}(?:{inner}){_NO_DIGIT_AFTER}", re.IGNORECASE | re.ASCII)


#: What could identify a shop in the name of a sheet or a family.
_IDENTIFYING = (
    ("contains a mail or web address", re.compile(r"\S@\S+\.\w|\bwww\.|https?:", re.IGNORECASE)),
    ("contains a date", _any(
        rf"{_YEAR}[-./_ ](?:0?[1-9]|1[0-2])[-./_ ](?:0?[1-9]|[12]\d|3[01])",
        rf"{_YEAR}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])",
        rf"(?:0?[1-9]|[12]\d|3[01])[-./_ ](?:0?[1-9]|[12]\d|3[01])[-./_ ](?:{_YEAR}|\d\d)",
        r"\d\d-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12]\d|3[01])",
        rf"\d{{1,2}}(?:st|nd|rd|th)?[-. ]?(?:{_MONTHS})[a-z]*[-., ]*(?:{_YEAR}|\d\d)",
        rf"(?:{_MONTHS})[a-z]*[-. ]?\d{{1,2}}(?:st|nd|rd|th)?[-, ]+(?:{_YEAR}|\d\d)")),
    ("contains a phone number", re.compile(
        r"\+\d[\d ()/-]{6,}\d|\(\d{3,5}\) ?\d{3}"
        r"|\b(?:tel|phone|call|fax|mob|cell)\b\D{0,4}(?:\d[ -]?){5}", re.IGNORECASE)),
    ("contains a phone number", _any(
        r"\d{10,11}", r"\d{3}[-. /]\d{3,4}[-. /]\d{4}", r"\d{3}-\d{4}",
        r"0\d{2,4}[ /-]\d{5,8}", r"\d\d(?: \d\d){4}")),
    ("contains a height", re.compile(
        r"\d{2,5} ?(?:ft|feet|m|metres|meters)\.? ?(?:asl|amsl|above|elev|alt)|\d{2,5} ?masl\b"
        r"|\b(?:elev|elevation|alt|altitude|asl|height)\.?[ :=]{0,3}\d{2,5}\b", re.IGNORECASE)),
    ("contains a serial number", _any(
        r"(?:s/n|sn|ser(?:ial)?\.?(?: ?no\.?)?|vin|hin|hull|reg)[^0-9A-Za-z]{0,3}[0-9A-Za-z]*\d\w*",
        r"(?=\w*\d)(?=\w*[A-Z])[A-HJ-NPR-Z0-9]{17}")),
)  # fmt: skip


def more_than_a_name(text: str) -> str | None:
    """Return what could identify a shop in a name, or ``None``.

    >>> more_than_a_name("rung 2024-05-31"), more_than_a_name("petrel-six")
    ('contains a date', None)
    """
    if len(text) > _LONGEST_TEXT or not text.isprintable():
        return "is free text"
    return next((what for what, pattern in _IDENTIFYING if pattern.search(text)), None)


def _fold(text: str, *, digraphs: bool) -> tuple[str, list[int]]:
    """Return the letters and digits of a text in plain lower case, and the index of each."""
    letters, places = [], []
    for place, character in enumerate(text):
        plain = character.casefold()
        if digraphs:
            plain = plain.translate(_DIGRAPHS)
        plain = unicodedata.normalize("NFKD", plain.translate(_PLAIN))
        for letter in plain:
            if letter.isalnum():
                letters.append(letter)
                places.append(place)
    return "".join(letters), places


def _fold_both_ways(text: str) -> tuple[str, str]:
    composed = unicodedata.normalize("NFC", text)
    return _fold(composed, digraphs=True)[0], _fold(composed, digraphs=False)[0]


def names(shop: str, text: str) -> bool:
    """Return whether a text contains the shop's name, or two successive words of it.

    >>> names("O'Neill", "ONEILL 350"), names("Müller Motoren", "mueller-motoren-12")
    (True, True)
    """
    words = re.findall(r"\w+", unicodedata.normalize("NFC", shop))
    whole = _fold_both_ways(shop)
    parts = {
        "".join(pair) for pair in pairwise(w for word in words for w in [_fold_both_ways(word)[1]])
    }
    parts |= {
        "".join(pair) for pair in pairwise(w for word in words for w in [_fold_both_ways(word)[0]])
    }
    wanted = {part for part in parts if len(part) >= _LONG_ENOUGH}
    wanted |= {name for name in whole if len(name) >= _SHORTEST_NAME}
    tokens = {folded for word in re.findall(r"\w+", text) for folded in _fold_both_ways(word)}
    return any(part in folded for part in wanted for folded in _fold_both_ways(text)) or bool(
        {name for name in whole if name} & tokens
    )


def hint(shop: str, text: str) -> str | None:
    """Return a word of the shop's name, or its initials, if a text contains it; else ``None``."""
    words = [_fold_both_ways(word)[1] for word in re.findall(r"\w+", shop)]
    folded = _fold_both_ways(text)[1]
    found = [w for w in words if len(w) > _SHORTEST_NAME and w not in _TRADE and w in folded]
    initials = "".join(word[0] for word in words if word)
    tokens = {_fold_both_ways(word)[1] for word in re.findall(r"\w+", text)}
    if len(initials) >= _SHORTEST_NAME and initials in tokens:
        found.append(initials)
    return found[0] if found else None


def withhold(shop: str, text: str, instead: str) -> str:
    """Return a text with every occurrence of the shop's name replaced.

    A short name is replaced only if no letter or digit is next to it.
    """
    text = unicodedata.normalize("NFC", text)
    for digraphs in (True, False):
        name = _fold(unicodedata.normalize("NFC", shop), digraphs=digraphs)[0]
        letters, places = _fold(text, digraphs=digraphs)
        at = letters.rfind(name) if name else -1
        while at >= 0:
            start, stop = places[at], places[at + len(name) - 1] + 1
            alone = not (
                text[max(0, start - 1) : start].isalnum() or text[stop : stop + 1].isalnum()
            )
            if alone or len(name) >= _LONG_ENOUGH:
                text = text[:start] + instead + text[stop:]
            at = letters.rfind(name, 0, at)
    return text
