"""Cells about sizes and parts that say several things: 4.030 x 3.48, 2 x 600 cfm, headers."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pullbook.pipeline.vocabulary.words import meant, plain_word
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    from collections.abc import Callable

_N = r"\d{1,4}(?:[.,]\d{1,4})?|[.,]\d{1,4}"
#: An inch with a fraction, or a number.
_LENGTH = rf"(?:\d{{1,2}}[ -])?\d{{1,2}}/\d{{1,2}}|{_N}"
_UNIT = r"\s*(?:mm|cm|in(?:ch(?:es)?)?\b\.?|\"|'')?"
_PER_CARB = re.compile(
    rf"^(?:(?P<count>[1-9])\s*[x\u00d7]\s*)?(?P<cfm>{_N})\s*(?:cfm)?\s*(?P<rest>[^\d]*(?:\d\s*-?\s*"
    r"(?:bbl|barrel)[^\d]*)?)$",
    re.IGNORECASE,
)
_LEAST_CFM = 50.0


def carburetor(text: str) -> dict[str, str]:
    """Read 750 cfm 4bbl, 2 x 600 cfm: the flow of all barrels, and that it is a carburetor."""
    if meant(text, FIELDS["fuel_metering"]) is not None and not re.match(r"\d{3}", text):
        return {"fuel_metering": text}
    found = _PER_CARB.match(text)
    if found is None or float(found["cfm"].replace(",", ".")) < _LEAST_CFM:
        return {}
    made = {"airflow": f"{int(found['count'] or 1) * float(found['cfm'].replace(',', '.')):g} cfm"}
    return made | {"fuel_metering": "carburetor"}


def total_flow(text: str) -> dict[str, str]:
    """Read 2 x 600 cfm: the flow of all barrels."""
    made = carburetor(text) if re.match(r"[1-9]\s*[x\u00d7]", text) else {}
    return {"airflow": made["airflow"]} if made else {}


_AT_28 = re.compile(
    rf"^(?P<cfm>{_N})\s*(?:cfm)?\s*(?:@|at)\s*28(?:\.0)?\s*(?:\"|in.*)?$", re.IGNORECASE
)


def flow_at_28(name: str) -> Callable[[str], dict[str, str]]:
    """Return a reader of 250 @ 28", the depression that the field is at."""

    def read(text: str) -> dict[str, str]:
        found = _AT_28.match(text)
        return {name: found["cfm"]} if found else {}

    return read


_RATIO = re.compile(r"^(?:(?P<a>\d{1,2}(?:[.,]\d+)?)\s*-\s*1|1\s*:\s*(?P<b>\d{1,2}(?:[.,]\d+)?))$")


def ratio(text: str) -> dict[str, str]:
    """Read 9.4-1 and 1:9.4, compression ratios the other way round."""
    found = _RATIO.match(text)
    return {"compression_ratio": found["a"] or found["b"]} if found else {}


_WITH_MM = re.compile(
    rf"^(?P<a>{_N})(?P<ua>{_UNIT})\s*(?:/|\(|=)\s*(?P<b>{_N})(?P<ub>{_UNIT})\s*\)?$", re.IGNORECASE
)
_ON_BASE = (
    re.compile(rf"^(?P<base>{_N})\s*\+\s*(?P<over>[.,]\d+)$"),
    re.compile(
        r"^(?P<over>[.,]?\d+)\s*over\s+(?:a\s+)?(?P<base>[1-9](?:[.,]\d{1,4})?)$", re.IGNORECASE
    ),
)
_REMARK = re.compile(rf"^(?P<a>{_N}{_UNIT})\s*\((?:\+|{_N})?\s*{_N}?\s*(?:over|os|o/s)\w*\)$",
                     re.IGNORECASE)  # fmt: skip
_AGREE = 0.004


def bore(text: str) -> dict[str, str]:
    """Read 4.030 (102.36 mm), 4.000 +.030, .030 over 4.000, 4.030 x 3.48."""
    if made := two("bore", "stroke", TIMES)(text):
        return made
    for shape in _ON_BASE:
        if (found := shape.match(text)) is not None:
            over = float(found["over"].replace(",", "."))
            over = over / 1000 if over >= 5 else over
            return {"bore": f"{float(found['base'].replace(',', '.')) + over:.4f}"}
    if (found := _REMARK.match(text)) is not None:
        return {"bore": found["a"].strip()}
    found = _WITH_MM.match(text)
    if found is None:
        return {}
    sizes = []
    for letter in "ab":
        number, unit = float(found[letter].replace(",", ".")), found[f"u{letter}"]
        sizes.append(number / 25.4 if "mm" in unit else number)
    return {"bore": f"{sizes[0]:.4f} in"} if abs(sizes[0] / sizes[1] - 1) < _AGREE else {}


TIMES = re.compile(rf"^(?P<a>{_LENGTH})(?P<ua>{_UNIT})\s*(?:[x\u00d7*]|by)\s*"
                    rf"(?P<b>{_LENGTH})(?P<ub>{_UNIT})$", re.IGNORECASE)  # fmt: skip
SLASH = re.compile(rf"^(?P<a>{_N})(?P<ua>{_UNIT})\s*/\s*(?P<b>{_N})(?P<ub>{_UNIT})$",
                    re.IGNORECASE)  # fmt: skip


def two(first: str, second: str, pattern: re.Pattern[str]) -> Callable[[str], dict[str, str]]:
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


def header(text: str) -> dict[str, str]:
    """Read 1 3/4 x 30 headers: diameter and length of primaries, and the kind if it is said."""
    if not any(letter.isdigit() for letter in text):
        return {"exhaust_type": text}
    found = _HEADER.match(text)
    if found is None:
        after = re.match(rf"^(?P<word>[^\d]+?)[\s,]+(?P<d>{_LENGTH}){_UNIT}$", text)
        return {} if after is None else {"primary_diameter": after["d"],
                                         "exhaust_type": after["word"].strip()}  # fmt: skip
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


def number_pair(first: str, second: str) -> Callable[[str], dict[str, str]]:
    """Return a reader of two numbers, as 224/230; a unit behind the second holds for both."""
    pattern = re.compile(rf"^({_N})\s*(\w*)\s*/\s*({_N})\s*(\D*)$")

    def read(text: str) -> dict[str, str]:
        found = pattern.match(text)
        if found is None:
            return {}
        unit = found[4].strip() or found[2]
        return {first: f"{found[1]} {unit}".strip(), second: f"{found[3]} {unit}".strip()}

    return read


#: Readers of cells, by the field that a heading names.
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
