"""Cam cards in one cell: durations, lobe separation with its advance, lift."""

from __future__ import annotations

import re

_N = r"\d{1,4}(?:[.,]\d{1,4})?|[.,]\d{1,4}"
_UNIT = r"\s*(?:mm|cm|in(?:ch(?:es)?)?\b\.?|\"|'')?"
_DURATION = re.compile(
    rf"^(?P<i>{_N})\s*(?:deg\w*|\u00b0)?\s*(?:/\s*(?P<e>{_N})\s*(?:deg\w*|\u00b0)?)?\s*"
    r"(?P<at>(?:@|at)?\s*0?[.,]050?\s*(?:in\w*|\"|lift|'')?|adv\w*|seat|dur\w*)?$",
    re.IGNORECASE,
)
_SEPARATION = re.compile(
    rf"^(?:(?:lsa|lobe\s*sep\w*|sep\w*)\s*:?\s*)?(?P<lsa>{_N})\s*(?:deg\w*|\u00b0)?\s*"
    rf"(?P<word>lsa|lobe\s*sep\w*(?:\s*angle)?|sep\w*|lc)?\s*"
    rf"(?:\(?(?P<sign>[+\-])\s*(?P<advance>\d{{1,2}})\)?)?$",
    re.IGNORECASE,
)
_LIFT = re.compile(
    rf"^(?:lift\s*:?\s*)?(?P<i>{_N}{_UNIT})(?:\s*/\s*(?P<e>{_N}{_UNIT}))?\s*(?:lift)?$",
    re.IGNORECASE,
)
_CENTERLINE = re.compile(rf"^(?P<icl>{_N})\s*(?:deg\w*|\u00b0)?\s*icl$", re.IGNORECASE)
#: Durations at 0.050 in are below this, those at the seat above: common practice, no source.
_SEAT = 256.0


def read_cam(text: str) -> dict[str, str]:
    """Read a cam card: 224/230 @ .050, 110 LSA +4, .510 lift.

    The parts of the card are told apart by their words, so each of them must have one; +4 is
    advance.
    """
    if not any(letter.isdigit() for letter in text) or text.casefold() in _OVERHEAD:
        return {"lifter": text}
    if found := _named(text):
        return found
    made: dict[str, str] = {}
    for part in re.split(r"[;]|,(?=\s)", text):
        own = _part(part.strip())
        if own is None or set(own) & set(made):
            return {}
        made |= own
    return made


_OVERHEAD = ("dohc 2v", "dohc 4v", "sohc 2v", "sohc 4v")
_NAMED = {
    "intake_duration": re.compile(r"\b(?:int|intake|in)\.?\s*:?\s*(\d{3})\b", re.IGNORECASE),
    "exhaust_duration": re.compile(r"\b(?:exh?|exhaust)\.?\s*:?\s*(\d{3})\b", re.IGNORECASE),
    "lobe_separation": re.compile(rf"\blsa\s*:?\s*({_N})\b", re.IGNORECASE),
    "intake_centerline": re.compile(rf"\bicl\s*:?\s*({_N})\b", re.IGNORECASE),
}
_FIFTY = re.compile(r"(?:@|at)\s*0?\.050?\s*(?:in\w*|\"|lift)?", re.IGNORECASE)


def _named(text: str) -> dict[str, str]:
    """Read Int 224 Exh 230 @ .050 LSA 110 ICL 106: each number has its name before it."""
    if _FIFTY.search(text) is None:
        return {}
    made, rest = {}, _FIFTY.sub(" ", text)
    for name, shape in _NAMED.items():
        if (found := shape.search(rest)) is not None:
            made[name] = found[1]
            rest = shape.sub(" ", rest, count=1)
    return made if len(made) > 1 and not rest.strip(" ,;/") else {}


def _part(part: str) -> dict[str, str] | None:
    if not part:
        return {}
    if found := _DURATION.match(part):
        return _durations(found)
    if (found := _CENTERLINE.match(part)) is not None:
        return {"intake_centerline": found["icl"]}
    named = re.search(r"lsa|sep|lc\b", part, re.IGNORECASE) is not None
    if named and (found := _SEPARATION.match(part)) is not None:
        made = {"lobe_separation": found["lsa"]}
        if found["advance"]:
            turned = float(found["lsa"].replace(",", "."))
            turned += (-1 if found["sign"] == "+" else 1) * float(found["advance"])
            made["intake_centerline"] = f"~{turned:g}"
        return made
    found = _LIFT.match(part)
    if found is not None and ("lift" in part.casefold() or _is_lift(found)):
        made = {"intake_lift": found["i"].strip()}
        return made | ({"exhaust_lift": found["e"].strip()} if found["e"] else {})
    return None


def _is_lift(found: re.Match[str]) -> bool:
    """Return whether numbers can only be lifts: below an inch and a half, with decimals."""
    numbers = [one for one in (found["i"], found["e"]) if one]
    return all(re.match(r"0?[.,]\d{3}", one) for one in numbers)


def _durations(found: re.Match[str]) -> dict[str, str] | None:
    at = (found["at"] or "").casefold()
    numbers = [float(one.replace(",", ".")) for one in (found["i"], found["e"]) if one]
    if max(numbers) < 100:
        return None
    seat = "adv" in at or "seat" in at
    if not seat and "050" not in at and ".05" not in at and not all(n < _SEAT for n in numbers):
        return None
    sure = "" if seat or "05" in at else "~"
    end = "_seat" if seat else ""
    made = {f"intake_duration{end}": sure + found["i"]}
    return made | ({f"exhaust_duration{end}": sure + found["e"]} if found["e"] else {})
