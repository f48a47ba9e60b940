"""Cells that say several things at once: V8, 91 octane pump gas, 4.030 x 3.48, a cam card.

Each gives texts for fields, which are then parsed like any others. What is not wholly understood
gives nothing.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pullbook.pipeline.vocabulary.cam_card import read_cam
from pullbook.pipeline.vocabulary.words import is_missing, plain_word

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

_N = r"\d{1,4}(?:[.,]\d{1,4})?|[.,]\d{1,4}"
#: An inch with a fraction, or a number.
_LENGTH = rf"(?:\d{{1,2}}[ -])?\d{{1,2}}/\d{{1,2}}|{_N}"
_UNIT = r"\s*(?:mm|cm|in(?:ch(?:es)?)?\b\.?|\"|'')?"
_MOST_LETTERS = 200

_ENGINE_WORDS = (
    (re.compile(r"^(?:v|vee)[\s\-]?(\d{1,2})(?:\s*(?:cyl\w*|engine|motor))?$"), "vee"),
    (re.compile(r"^(?:i|l|r|inline|straight|in-line|reihen?|reihe|en linea|linea)[\s\-]?(\d{1,2})"
                r"(?:\s*(?:cyl\w*|zyl\w*|engine|motor|zylinder))?$"), "inline"),
    (re.compile(r"^(?:flat|boxer|b|h|f|opposed)[\s\-]?(\d{1,2})(?:\s*(?:cyl\w*|zyl\w*))?$"),
     "flat"),
    (re.compile(r"^(\d{1,2})[\s\-]?(?:cyl\w*|zyl\w*|cil\w*|zylinder)?\.?$"), ""),
    (re.compile(r"^(\d{1,2})[\s\-]?(?:cyl\w*|zyl\w*)?[\s\-]*(?:in[\s\-]?line|inline|straight|"
                r"reihe\w*)$"), "inline"),
    (re.compile(r"^(\d{1,2})[\s\-]?(?:cyl\w*|zyl\w*)?[\s\-]*(?:v|vee)$"), "vee"),
)  # fmt: skip


def _engine(text: str) -> dict[str, str]:
    """Read V8, inline 6, 8 cyl: cylinders, and arrangement where it is said."""
    plain = text.casefold().replace("\u00ed", "i")
    for pattern, arrangement in _ENGINE_WORDS:
        if found := pattern.match(plain):
            made = {"cylinders": found[1]}
            return made | ({"arrangement": arrangement} if arrangement else {})
    return {}


_OCTANE = re.compile(
    r"^(?P<number>\d{2,3}(?:[.,]\d)?)\s*(?P<kind>octane|oct\.?|aki|\(r\+m\)/2|ron|roz|mon|moz)?\s*"
    r"(?P<fuel>[^\d]*)$",
    re.IGNORECASE,
)
_OCTANE_AFTER = re.compile(
    r"^(?P<fuel>[^\d]+?)[\s,(]*(?P<number>\d{2,3}(?:[.,]\d)?)\s*"
    r"(?P<kind>octane|oct\.?|aki|\(r\+m\)/2|ron|roz|mon|moz)?\)?$",
    re.IGNORECASE,
)
_AKI = (75, 120)
_OTHER_OCTANE = ("ron", "roz", "mon", "moz")


def _fuel(text: str) -> dict[str, str]:
    """Read 91 octane pump gas, 93, premium 91: fuel and octane, which is (R+M)/2 unless named."""
    if re.match(r"^(?:e|m)[\s\-]?\d{2,3}\b", text, re.IGNORECASE):
        return {}
    found = _OCTANE.match(text) or _OCTANE_AFTER.match(text)
    if found is None or not _AKI[0] <= float(found["number"].replace(",", ".")) <= _AKI[1]:
        return {}
    fuel = found["fuel"].strip(" ,-()")
    kind = (found["kind"] or "").casefold()
    made = {"fuel": fuel or "gasoline", "octane": found["number"]}
    if kind in _OTHER_OCTANE:
        made["octane"] = f"{found['number']} {kind.upper()}"
    return made


_TIMES = re.compile(rf"^(?P<a>{_LENGTH})(?P<ua>{_UNIT})\s*(?:[x\u00d7*]|by)\s*"
                    rf"(?P<b>{_LENGTH})(?P<ub>{_UNIT})$", re.IGNORECASE)  # fmt: skip
_SLASH = re.compile(rf"^(?P<a>{_N})(?P<ua>{_UNIT})\s*/\s*(?P<b>{_N})(?P<ub>{_UNIT})$",
                    re.IGNORECASE)  # fmt: skip


def _two(first: str, second: str, pattern: re.Pattern[str]) -> Callable[[str], dict[str, str]]:
    """Return a reader of two lengths, as 4.030 x 3.48 or 2.02/1.60; one unit holds for both."""

    def read(text: str) -> dict[str, str]:
        found = pattern.match(text)
        if found is None:
            return {}
        one, other = found["ua"].strip(), found["ub"].strip()
        return {
            first: f"{found['a']} {one or other}".strip(),
            second: f"{found['b']} {other or one}".strip(),
        }

    return read


_HEADER = re.compile(
    rf"^(?P<d>{_LENGTH})(?P<u>{_UNIT})\s*(?:[x\u00d7]\s*(?P<l>{_N})(?P<v>{_UNIT}))?\s*"
    r"(?P<word>[^\d]*)$",
    re.IGNORECASE,
)
_LONG = 26.0


def _header(text: str) -> dict[str, str]:
    """Read 1 3/4 x 30 headers: diameter and length of primaries, and the kind if it is said."""
    found = _HEADER.match(text)
    if found is None:
        return {}
    one, other = found["u"].strip(), (found["v"] or "").strip()
    made = {"primary_diameter": f"{found['d']} {one or other}".strip()}
    word = plain_word(found["word"])
    if found["l"]:
        made["primary_length"] = f"{found['l']} {other or one}".strip()
    if word in ("", "header", "headers", "primary", "primaries"):
        long = found["l"] and "m" not in (other or one) and float(found["l"]) >= _LONG
        # A primary this long belongs to a long-tube header: common practice, no source.
        return made | ({"exhaust_type": "long tube headers by length"} if long else {})
    return made | {"exhaust_type": found["word"].strip()}


def _number_pair(first: str, second: str) -> Callable[[str], dict[str, str]]:
    pattern = re.compile(rf"^({_N})\s*(\w*)\s*/\s*({_N})\s*(\D*)$")

    def read(text: str) -> dict[str, str]:
        found = pattern.match(text)
        if found is None:
            return {}
        unit = found[4].strip() or found[2]
        return {first: f"{found[1]} {unit}".strip(), second: f"{found[3]} {unit}".strip()}

    return read


#: Readers of cells, by the field that a heading names.
_OF_FIELD: Mapping[str, Callable[[str], dict[str, str]]] = {
    "cylinders": _engine,
    "arrangement": _engine,
    "fuel": _fuel,
    "exhaust_type": _header,
    "intake_valve": _two("intake_valve", "exhaust_valve", _SLASH),
    "intake_lift": _two("intake_lift", "exhaust_lift", _SLASH),
    "intake_duration": _number_pair("intake_duration", "exhaust_duration"),
    "bore": _two("bore", "stroke", _TIMES),
}
#: The same for headings that name no field, as `plain_word` returns them.
_HEADINGS: tuple[tuple[Callable[[str], dict[str, str]], str], ...] = (
    (
        _engine,
        "engine enginetype type layout config configuration motor motortyp bauform "
        "engineconfiguration tipo tipodemotor motorbauart",
    ),
    (
        read_cam,
        "cam camshaft camcard camspecs camspec camshaftspecs cams nockenwelle "
        "arboldelevas steuerzeiten",
    ),
    (
        _header,
        "header headers exhaust primaries primary primarysize headersize auspuff krummer escape",
    ),
    (
        _two("bore", "stroke", _TIMES),
        "borexstroke bore/stroke borestroke boreandstroke borestrokein bohrungxhub "
        "bohrunghub diametroxcarrera",
    ),
    (
        _two("intake_valve", "exhaust_valve", _SLASH),
        "valves valvesizes valvesize ventile valvulas valvediameters",
    ),
    (
        _two("intake_lift", "exhaust_lift", _SLASH),
        "lift valvelift lifts ventilhub alzada",
    ),
    (
        _number_pair("intake_duration", "exhaust_duration"),
        "duration durations duration050 dur dur050 duration@050",
    ),
    (
        _number_pair("intake_flow", "exhaust_flow"),
        "flow headflow",
    ),
)
_OF_HEADING = {word: reader for reader, words in _HEADINGS for word in words.split()}


_OVER = re.compile(
    rf"^(?P<plus>\+)?\s*(?P<number>{_N})(?P<unit>{_UNIT})\s*"
    r"(?P<word>over(?:[\s-]?(?:size|bore)d?)?|o/?s|oversize|\u00fcber(?:mass|gr\u00f6\u00dfe)?)?\.?$",
    re.IGNORECASE,
)


def oversize(text: str) -> float | None:
    """Return by how many inches a bore is over its family's; ``None`` if a text is no oversize.

    A whole number of 5 or more without a unit is in thousandths of an inch.

    >>> oversize(".030 over"), oversize("30 over"), oversize("+.060"), oversize("4.030")
    (0.03, 0.03, 0.06, None)
    """
    found = _OVER.match(text.strip())
    if found is None or not (found["plus"] or found["word"]):
        return None
    number = float(found["number"].replace(",", "."))
    if "mm" in found["unit"]:
        return number / 25.4
    return number / 1000 if not found["unit"].strip() and number >= 5 else number


def is_compound(heading: str) -> bool:
    """Return whether a heading that is no field's is of cells that say several things."""
    return plain_word(heading) in _OF_HEADING


def split(heading: str, field: str | None, text: str) -> dict[str, str]:
    """Return the texts that a cell gives for several fields; empty if it is an ordinary cell.

    >>> split("engine", None, "V8")
    {'cylinders': '8', 'arrangement': 'vee'}
    >>> split("cam", None, "224/230 @ .050, 110 LSA +4, .510 lift")["lobe_separation"]
    '110'
    """
    text = text.strip()
    if not text or len(text) > _MOST_LETTERS or is_missing(text):
        return {}
    reader = _OF_FIELD.get(field) if field is not None else _OF_HEADING.get(plain_word(heading))
    if reader is None:
        return {}
    made = reader(text)
    return {} if set(made) == {field} and made.get(field or "") == text else made
