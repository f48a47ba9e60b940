"""The year of a date, however it is written; only the year travels.

A day and a month that could be the other way round need no question.
"""

from __future__ import annotations

import datetime as dt
import re
from typing import NamedTuple

from pullbook.pipeline.vocabulary.words import plain_word

_ISO = re.compile(r"(\d{4})(?:-\d{2}-\d{2}(?:[T ]\d{1,2}:\d{2}[\d:.+Z-]*)?)?", re.ASCII)
_YEARS = range(1900, 2101)
_COMPACT = re.compile(r"(\d{4})(\d{2})(\d{2})", re.ASCII)
_NUMBERS = re.compile(r"(\d{1,4})\s*([./\-])\s*(\d{1,4})(?:\s*\2\s*(\d{4}|\d{2}))?", re.ASCII)
_TIME = re.compile(r"[,T ]+\d{1,2}[:.h]\d{2}(?:[:.]\d{2})?(?:\s*[ap]\.?m\.?)?$", re.IGNORECASE)
_TOKENS = re.compile(r"[^\W\d_]+|\d+")
_MONTH_NAMES = """\
abr abril ago agosto apr april aug august dec december dez dezember dic diciembre ene
enero feb febrero februar february jan januar january jul juli julio july jun june juni
junio maerz mai mar march marz marzo may mayo nov november noviembre oct october octubre
okt oktober sep sept september septiembre set
"""
_MONTHS = frozenset(_MONTH_NAMES.split())
_SMALL = frozenset({"de", "del", "th", "st", "nd", "rd", "of"})
#: Days since 1899-12-30, as spreadsheets count: from 1954 to 2064.
_SERIAL = range(20_000, 60_001)
_DAY_ZERO = dt.date(1899, 12, 30)
_MOST_LETTERS = 40
_DAYS, _MONTH_NUMBERS = 31, 12


class Year(NamedTuple):
    """A year, and whether the text gives it beyond doubt in the way of the sheet."""

    year: int
    certain: bool


def year_of(text: str) -> Year | None:
    """Return the year of a date; ``None`` for what is no date.

    >>> {year_of(text) for text in ("2014-05-31", "5/31/2014", "31. Mai 2014", "41790")}
    {Year(year=2014, certain=True)}
    >>> year_of("31/31/2014") is None, year_of("31.05.14")
    (True, Year(year=2014, certain=False))
    """
    text = text.strip()
    if len(text) > _MOST_LETTERS:
        return None
    if (found := _ISO.fullmatch(text)) is not None:
        year = int(found[1])
        return Year(year, certain=True) if year in _YEARS and _is_date(text[:10]) else None
    text = _TIME.sub("", text)
    if (found := _COMPACT.fullmatch(text)) is not None:
        year = int(found[1])
        fits = year in _YEARS and _is_date(f"{found[1]}-{found[2]}-{found[3]}")
        return Year(year, certain=True) if fits else None
    if text.replace(".", "", 1).isdecimal() and text.isascii():
        serial = int(float(text))
        if serial in _SERIAL:
            return Year((_DAY_ZERO + dt.timedelta(days=serial)).year, certain=True)
    if (found := _NUMBERS.fullmatch(text)) is not None:
        return _of_numbers(*(int(one) if one else None for one in (found[1], found[3], found[4])),
                           short=len(found[4] or "    ") == 2)  # fmt: skip
    return _of_words(text)


def _is_date(text: str) -> bool:
    try:
        return len(text) == len("2024") or bool(dt.date.fromisoformat(text))
    except ValueError:
        return False


def _of_numbers(
    first: int | None, second: int | None, third: int | None, *, short: bool
) -> Year | None:
    if first is None or second is None:
        return None
    if third is None:  # 05/2014, or 2014/05
        year, month = (first, second) if first in _YEARS else (second, first)
        return Year(year, certain=True) if year in _YEARS and 1 <= month <= _MONTH_NUMBERS else None
    if first in _YEARS:
        return Year(first, certain=True) if _fits(second, third) else None
    if not _fits(first, second):
        return None
    if short:
        return Year(_century(third), certain=False)
    return Year(third, certain=True) if third in _YEARS else None


def _fits(one: int, other: int) -> bool:
    """Return whether two numbers are a day and a month, in either order."""
    return 1 <= min(one, other) <= _MONTH_NUMBERS and 1 <= max(one, other) <= _DAYS


def _century(year: int) -> int:
    """Return a year of two digits in the century that makes it past: up to 50 is of this one."""
    return year + (2000 if year <= 50 else 1900)


def _of_words(text: str) -> Year | None:
    tokens = [plain_word(one) for one in _TOKENS.findall(text)]
    months = [one for one in tokens if one in _MONTHS]
    numbers = [int(one) for one in tokens if one.isdecimal()]
    others = [one for one in tokens if not one.isdecimal() and one not in _MONTHS | _SMALL]
    years = [one for one in numbers if one in _YEARS]
    days = [one for one in numbers if one not in _YEARS]
    if len(months) == 1 and not others and not years and len(days) == 2:
        return Year(_century(days[1]), certain=False) if 1 <= days[0] <= _DAYS else None
    if len(months) != 1 or others or len(years) != 1 or any(not 1 <= d <= _DAYS for d in days):
        return None
    return Year(years[0], certain=True) if len(days) <= 1 else None
