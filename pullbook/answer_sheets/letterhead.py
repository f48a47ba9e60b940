"""Who an answer sheet is from and for: shop, logo, customer and date, checked before it is made."""

from __future__ import annotations

import base64
import re
import xml.etree.ElementTree as ET  # nosec - a document type, which could expand, is refused first
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from pullbook.schemas.errors import InputError, must_exist

if TYPE_CHECKING:
    from pathlib import Path

#: Largest logo, bytes.
MOST_BYTES = 1_000_000
_PNG = b"\x89PNG\r\n\x1a\n"
_SVG = "{http://www.w3.org/2000/svg}svg"
#: What an SVG may hold that runs or fetches something.
_ACTIVE = re.compile(r"<\s*(?:\w+:)?(?:script|foreignobject|iframe|image|use)\b", re.IGNORECASE)
_FETCHED = re.compile(
    r"""(?:href\s*=\s*["']\s*(?!\#)|url\(\s*["']?\s*(?!\#)|@import)""", re.IGNORECASE
)
_HANDLER = re.compile(r"\son\w+\s*=", re.IGNORECASE)


class LetterheadError(InputError):
    """A logo or a date that cannot be put on an answer sheet; the message says why."""


@dataclass(frozen=True, slots=True)
class Letterhead:
    """Who an answer sheet is from and for.

    Attributes
    ----------
    customer, shop
        Their names; empty where they are not given.
    date
        The day as it is printed, ``27 November 2026``; empty where it is not given.
    logo
        The logo as the address of a picture that holds the picture itself; empty without one.
    """

    customer: str = ""
    shop: str = ""
    date: str = ""
    logo: str = ""

    @property
    def given(self) -> bool:
        """Whether there is anything to print."""
        return any((self.customer, self.shop, self.date, self.logo))


def of(customer: str | None, shop: str | None, day: str | None, logo: Path | None) -> Letterhead:
    """Return a letterhead.

    Parameters
    ----------
    customer, shop
        Their names.
    day
        An ISO date; without one, and with a name or a logo, today.
    logo
        A ``.png`` or ``.svg`` file.

    Raises
    ------
    LetterheadError
        The date is no date, or the file is no such picture.

    """
    names = [" ".join((name or "").split()) for name in (customer, shop)]
    if day is None and not any(names) and logo is None:
        return Letterhead()
    named = dict(zip(("customer", "shop"), names, strict=True))
    return Letterhead(**named, date=_day(day), logo="" if logo is None else _picture(logo))


def _day(day: str | None) -> str:
    try:
        found = date.today() if day is None else date.fromisoformat(day.strip())
    except ValueError:
        msg = f"{day!r} is not a date; write it as 2026-05-31"
        raise LetterheadError(msg) from None
    return f"{found.day} {found:%B %Y}"


def _picture(path: Path) -> str:
    must_exist(path)
    if path.is_dir() or path.stat().st_size > MOST_BYTES:
        most = f"{MOST_BYTES // 1_000_000} MB"
        msg = f"{path} is no picture of at most {most}; give a .png or .svg file"
        raise LetterheadError(msg)
    found = path.read_bytes()
    if found.startswith(_PNG) and found[12:16] == b"IHDR":
        kind = "png"
    elif _is_plain_svg(found, path):
        kind = "svg+xml"
    else:
        msg = f"{path} is neither a PNG nor an SVG picture"
        raise LetterheadError(msg)
    return f"data:image/{kind};base64,{base64.b64encode(found).decode()}"


def _is_plain_svg(found: bytes, path: Path) -> bool:
    """Return whether this is an SVG picture that neither runs nor fetches anything."""
    try:
        text = found.decode("utf-8-sig")
    except UnicodeDecodeError:
        return False
    if "<!doctype" in text.casefold() or "<!entity" in text.casefold():
        msg = f"{path} has a document type; save it as a plain SVG"
        raise LetterheadError(msg)
    try:
        root = ET.fromstring(text)  # noqa: S314 - without a document type nothing expands
    except ET.ParseError:
        return False
    if _ACTIVE.search(text) or _HANDLER.search(text) or _FETCHED.search(text):
        msg = f"{path} holds a script, or takes something from elsewhere; save it as a plain SVG"
        raise LetterheadError(msg)
    return root.tag == _SVG
