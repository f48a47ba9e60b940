"""Numbers as people write them: decimal points or commas, and thousands separators.

One number does not show whether its comma means decimals or thousands. The other numbers of the
sheet may show it; if not, the range of the field may; if not, the cell is refused.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable

#: A plain number, then the rest of the text: its unit, if any.
_PLAIN = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*)", re.DOTALL | re.ASCII)
_SPACES = " \u00a0\u202f\u2009"
_GROUPS = f"'\u2019{_SPACES}"
#: A number with commas or thousands separators, then the rest of the text.
_MARKED = re.compile(
    rf"([+-]?(?:\d[\d.,{_GROUPS}]*\d|\d|[.,]\d+)[.,]?(?:[eE][+-]?\d+)?)\s*(.*)",
    re.DOTALL | re.ASCII,
)
#: Fractions of an inch: 1 5/8, 15/16.
_FRACTION = re.compile(
    r"(?:(\d{1,3})[ -])?(\d{1,2})/(2|4|8|16|32|64)(?!\d)\s*(.*)", re.DOTALL | re.ASCII
)
_GROUPED = re.compile(r"\d{1,3}(?:([.,'\u2019 ])\d{3})(?:\1\d{3})*")
#: What shows that the number goes on after its plain part.
_GOES_ON = re.compile(rf"[{_SPACES}]*[\d.,'\u2019]")
#: One point before three digits: a thousands separator in sheets with decimal commas.
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}\.\d{3}")
_POINT_SURE = re.compile(r"\s*[+-]?(?:\d*\.(?:\d{1,2}|\d{4,})(?!\d)|0?\.\d+)(?![.,\d])", re.ASCII)
_COMMA_SURE = re.compile(r"\s*[+-]?[\d.]*,(?:\d{1,2}|\d{4,})(?!\d)|\s*[+-]?0?,\d+", re.ASCII)


class Numeral(NamedTuple):
    """A number read from a text.

    Attributes
    ----------
    readings
        The numbers the text may mean: one, or two if the meaning of a comma is not clear.
    rest
        The text after the number.
    note
        Code of the note to report, or ``None``.
    """

    readings: tuple[float, ...]
    rest: str
    note: str | None


def decimal_mark(texts: Iterable[str]) -> str | None:
    """Return the decimal mark that the numbers of a sheet show, or ``None`` if not clear.

    >>> decimal_mark(["2.000", "345,2"]), decimal_mark(["2,000", "9.4"]), decimal_mark(["1,250"])
    (',', '.', None)
    """
    texts = list(texts)
    comma = any("," in text and _COMMA_SURE.match(text) for text in texts)
    point = any("." in text and _POINT_SURE.match(text) for text in texts)
    if comma == point:
        return None
    return "," if comma else "."


def plain(text: str) -> float | None:
    """Return the value of a plain number without unit or separator; ``None`` for other texts."""
    if text[-1:].isdecimal() and "_" not in text:
        try:
            return float(text)
        except ValueError:
            return None
    return None


def read(text: str, mark: str | None = None) -> Numeral | None:
    """Return the number at the start of a text, or ``None`` if there is none.

    Parameters
    ----------
    text
        The text, without blanks around it.
    mark
        The decimal mark of the sheet, as `decimal_mark` found it.

    Examples
    --------
    >>> read("92.1 mm")
    Numeral(readings=(92.1,), rest='mm', note=None)
    >>> read("2.000", ",").readings, read("1 250,5").readings, read("1,250").readings
    ((2000.0,), (1250.5,), (1.25, 1250.0))
    >>> read("1 5/8 in")
    Numeral(readings=(1.625,), rest='in', note=None)

    """
    if "/" in text and (fraction := _FRACTION.fullmatch(text)):
        number = int(fraction[1] or 0) + int(fraction[2]) / int(fraction[3])
        return Numeral((number,), fraction[4], None)
    simple = _PLAIN.fullmatch(text)
    if simple and not _GOES_ON.match(simple[2]):
        if mark != "," or not _THOUSANDS.fullmatch(simple[1]):
            return Numeral((float(simple[1]),), simple[2], None)
        return Numeral((float(simple[1].replace(".", "")),), simple[2], "thousands-mark")
    marked = _MARKED.fullmatch(text)
    if marked is None:
        return None
    body, exponent = _split_exponent(marked[1].rstrip(".,"))
    sign = -1.0 if body.startswith("-") else 1.0
    found = _read_separated(body.lstrip("+-"), mark)
    if not found[0]:
        return None
    return Numeral(tuple(sign * float(f"{n}{exponent}") for n in found[0]), marked[2], found[1])


def _split_exponent(text: str) -> tuple[str, str]:
    at = text.lower().find("e")
    return (text, "") if at < 0 else (text[:at], text[at:])


def _read_separated(body: str, mark: str | None) -> tuple[tuple[str, ...], str | None]:
    """Return the readings of a number with separators, as plain numbers, and the note's code."""
    for space in _SPACES:
        body = body.replace(space, " ")
    if any(group in body for group in "'\u2019 ") or (body.count(".") and body.count(",")):
        last = max(body.rfind("."), body.rfind(","))
        whole, fraction = (body, "") if last < 0 else (body[:last], body[last + 1 :])
        if _GROUPED.fullmatch(body) and last >= 0 and body[last] in whole:
            whole, fraction = body, ""
        valid = _GROUPED.fullmatch(whole) and (fraction.isdigit() or not fraction)
        return ((_join(whole, fraction),), "thousands-mark") if valid else ((), None)
    if body.count(",") > 1 or body.count(".") > 1:
        return ((_join(body, ""),), "thousands-mark") if _GROUPED.fullmatch(body) else ((), None)
    return _read_one_comma(body, mark) if "," in body else ((), None)


def _read_one_comma(body: str, mark: str | None) -> tuple[tuple[str, ...], str]:
    whole, _, fraction = body.partition(",")
    decimal = f"{whole or '0'}.{fraction}"
    if not _GROUPED.fullmatch(body) or whole == "0" or mark == ",":
        return (decimal,), "decimal-comma"
    if mark == ".":
        return (whole + fraction,), "thousands-mark"
    return (decimal, whole + fraction), "decimal-comma"


def _join(whole: str, fraction: str) -> str:
    digits = "".join(c for c in whole if c.isdigit())
    return f"{digits}.{fraction}" if fraction else digits
