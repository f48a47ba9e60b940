"""Headings of the columns of a pull: which quantity, in which unit, observed or corrected.

A heading is a few words in any order and spelling: Corr. Torque lb-ft, STP HP, TQ obs, kW, Nm
(SAE), rpm x1000. It is understood only if every word of it is.
"""

from __future__ import annotations

import re
from difflib import SequenceMatcher
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.vocabulary.units import spelled
from pullbook.pipeline.vocabulary.words import plain_word

if TYPE_CHECKING:
    from collections.abc import Iterator

OBSERVED, CORRECTED = "observed", "corrected"

_QUANTITIES = {
    "rpm": "rpm revs drehzahl enginespeed enginerpm motordrehzahl regimen revoluciones"
    " u/min 1/min tr/min rev/min r/min giri min1 min\u22121 revmin",
    "torque": "torque tq trq tor trque torq drehmoment moment md par parmotor couple",
    "power": "power pwr pow horsepower leistung potencia puissance pe",
}
_BASES = {
    OBSERVED: "obs observed raw uncorr uncorrected unc measured meas act actual asmeasured"
    " unkorrigiert unkorr gemessen observado sincorregir",
    CORRECTED: "cor corr corrd corrected correct korrigiert korr corregido corregida c cf adj"
    " adjusted norm normalized normalised",
    "SAE J607": "stp std j607 saej607 saestp saestd",
    "SAE J1349": "sae j1349 saej1349",
    "DIN 70020": "din din70020",
    "ISO 1585": "iso iso1585",
}
#: Short marks of a correction that stand in front of a short name of a quantity alone: CTQ, OHP.
_SHORT_BASES = {"c": CORRECTED, "o": OBSERVED}
_SHORT_NAMES = {"tq": "torque", "trq": "torque", "torque": "torque", "pwr": "power",
                "power": "power", "hp": "power", "bhp": "power", "kw": "power"}  # fmt: skip
_FILLERS = frozenset({"in", "engine", "motor", "at", "flywheel", "fw", "crank", "avg", "average",
                      "a", "to", "factor", "the", "brake", "net", "eng", "x"})  # fmt: skip
_RUN_WORDS = frozenset({"run", "pull", "no", "nr", "lauf", "test", "sweep"})
_SCALE = re.compile(r"(?:x|\u00d7|\*)\s*(10{1,4})\b|\b(10{1,4})\s*(?:x|\u00d7|\*)?(?=\s*rpm)",
                    re.IGNORECASE)  # fmt: skip
_DIVIDED = re.compile(r"(?:/\s*10{3}\b|\(?1000s\)?|(?:x|\u00d7|\*)\s*10(?:\u00b3|\^3)|^k(?=rpm))")
_UNCERTAIN_SCALE = re.compile(r"/\s*10{1,4}\b")
#: Symbols of the quantities, which count where the unit stands beside them: M [Nm], n (1/min).
_SYMBOLS = {
    "m": "torque",
    "t": "torque",
    "p": "power",
    "n": "rpm",
    "md": "torque",
    "pe": "power",
    "ne": "power",
}
_MOST_LETTERS, _MOST_WORDS = 60, 8
_SPLIT = re.compile(r"[\s_:;,()\[\]{}=]+")


class ColumnHeading(NamedTuple):
    """What the heading of a column says.

    Attributes
    ----------
    field
        rpm, torque or power.
    unit
        The unit as written; ``None`` if it names none.
    basis
        `OBSERVED`, `CORRECTED` or a standard; ``None`` if it says nothing.
    factor
        What the numbers are to be multiplied by, as ``rpm x1000`` says.
    number
        The number of the run, if it names one.
    """

    field: str
    unit: str | None = None
    basis: str | None = None
    factor: float = 1.0
    number: int | None = None


def _table(groups: dict[str, str]) -> dict[str, str]:
    return {word: name for name, own in groups.items() for word in own.split()}


_QUANTITY_OF, _BASIS_OF = _table(_QUANTITIES), _table(_BASES)
#: Units that name a quantity by themselves, as a heading; lb-ft is taken to be torque.
_UNITS = {"torque": "lb-ft", "power": "hp", "rpm": "rpm"}


#: Words of columns that stand beside torque or power and are neither.
_LISTED = """
target friction loss losses sd dev stdev deviation per limit delta diff difference error drag gain
pump fan motoring sfc bsfc isfc specific bmep mep spec max min peak ziel verlust sollwert fuel flow
lb/hp lb/hph oil water air wheel left right
"""
_NO_READING = frozenset(_LISTED.split())
_NAMES = ("torque", "power", "horsepower", "drehmoment", "leistung", "potencia")
_CLOSE = 0.8


def may_be_reading(heading: str) -> str | None:
    """Return the quantity that a heading may be of, though not all of it is understood.

    >>> may_be_reading("TQ final"), may_be_reading("po#wer"), may_be_reading("BSFC lb/hp")
    ('torque', 'power', None)
    """
    if read(heading) is not None or len(heading) > _MOST_LETTERS:
        return None
    words = [plain_word(word) for word in re.split(r"[^\w']+", heading) if word]
    words += [plain_word(re.sub(r"[\W_]", "", heading))] * (" " not in heading)
    if not words or _NO_READING & {*words, heading.casefold().split(" ")[-1]} or "/" in heading:
        return None
    for word in words:
        found = re.match(r"[a-z]+", word)
        for one in (word, found[0] if found else word):
            if (quantity := _QUANTITY_OF.get(one)) in ("torque", "power"):
                return quantity
            for named in _NAMES:
                if _is_near(one, named):
                    return _QUANTITY_OF[named]
    units = (("torque", "lb-ft"), ("power", "hp"))
    return next((q for w in words for q, unit in units if len(w) > 1 and spelled(w, unit)), None)


def _is_near(word: str, name: str) -> bool:
    """Return whether a word is a name with a letter or two wrong."""
    if abs(len(word) - len(name)) > 2 or len(set(word) & set(name)) < len(set(name)) - 2:
        return False
    return SequenceMatcher(None, word, name).ratio() >= _CLOSE


def basis_of(word: str) -> str | None:
    """Return the correction that one word names, as `words.plain_word` returns it."""
    return _BASIS_OF.get(word) if len(word) > 2 else None


@lru_cache(maxsize=4096)
def read(heading: str) -> ColumnHeading | None:
    """Return what a heading says; ``None`` if one of its words is not understood.

    >>> read("Corr. Torque [lb-ft]")
    ColumnHeading(field='torque', unit='lb-ft', basis='corrected', factor=1.0, number=None)
    >>> read("CHP").basis, read("STP TQ").basis, read("rpm x1000").factor, read("lambda")
    ('corrected', 'SAE J607', 1000.0, None)
    """
    text, factor = _scale(heading.strip()[: _MOST_LETTERS + 1])
    words = [word for word in _SPLIT.split(text) if word.strip(".-*'\"")]
    said = _Said()
    understood = (
        len(text) <= _MOST_LETTERS
        and _UNCERTAIN_SCALE.search(text) is None
        and 0 < len(words) <= _MOST_WORDS
        and _take(words, said)
    )
    field = said.quantity or said.unit_quantity
    if not understood or field is None or said.contradicts(field):
        return None
    return ColumnHeading(field, said.unit, said.basis, factor, said.number)


def _scale(text: str) -> tuple[str, float]:
    """Return a heading without the power of ten that its numbers are to be multiplied by."""
    if "rpm" in text.casefold() and (divided := _DIVIDED.search(text)) is not None:
        return f"{text[: divided.start()]} {text[divided.end() :]}", 1000.0
    scale = _SCALE.search(text)
    if scale is None:
        return text, 1.0
    return f"{text[: scale.start()]} {text[scale.end() :]}", float(scale[1] or scale[2])


class _Said:
    """What the words of a heading have said so far."""

    def __init__(self) -> None:
        self.quantity: str | None = None
        self.unit: str | None = None
        self.unit_quantity: str | None = None
        self.basis: str | None = None
        self.number: int | None = None
        self.symbol: str | None = None

    def contradicts(self, field: str) -> bool:
        """Return whether unit or symbol are of another quantity; DIN-PS is a unit's name."""
        if self.basis == "DIN 70020" and plain_word(self.unit or "") == "ps":
            self.basis = None
        return {self.symbol, self.unit_quantity} - {None, field} != set()

    def name(self, quantity: str) -> bool:
        if self.quantity not in (None, quantity):
            return False
        self.quantity = quantity
        return True

    def base(self, basis: str) -> bool:
        """Add a basis; a standard is more than the word corrected."""
        if self.basis in (None, CORRECTED) and basis != OBSERVED:
            self.basis = basis if self.basis is None or basis != CORRECTED else self.basis
            return True
        if self.basis is None or basis == self.basis or (basis == CORRECTED and
                                                         self.basis != OBSERVED):  # fmt: skip
            self.basis = self.basis or basis
            return True
        return False

    def measure(self, unit: str, quantity: str) -> bool:
        if self.unit is not None:
            return False
        self.unit, self.unit_quantity = unit, quantity
        return True


def _take(words: list[str], said: _Said) -> bool:
    """Read all words from the left, the longest known group of them first."""
    at = 0
    while at < len(words):
        for length in range(min(3, len(words) - at), 0, -1):
            group = words[at : at + length]
            if _take_group(group, said):
                at += length
                break
        else:
            return False
    return True


def _take_group(group: list[str], said: _Said) -> bool:
    joined = " ".join(group)
    word = plain_word(joined)
    for one in ("".join(group).casefold().strip("."), word):
        if (quantity := _QUANTITY_OF.get(one)) is not None:
            return said.name(quantity)
    if (basis := _BASIS_OF.get(word)) is not None:
        return said.base(basis)
    for quantity, unit in _UNITS.items():
        if spelled(joined, unit):
            return said.measure(joined.strip(), quantity)
    return len(group) == 1 and _take_word(word, said)


def _take_word(word: str, said: _Said) -> bool:
    """Read a word that is neither quantity, unit nor correction by itself."""
    if word.isdecimal() and (said.quantity or said.unit) and len(word) <= 2:
        said.number = int(word)
        return True
    if word in _SYMBOLS and said.symbol is None:
        said.symbol = _SYMBOLS[word]
        return True
    return word in _FILLERS or word in _RUN_WORDS or _take_glued(word, said)


def _take_glued(word: str, said: _Said) -> bool:
    """Read a word made of several, such as ctq, stptrq, tqobs, torquenm."""
    for parts in _partings(word):
        (kind, first), (_, rest) = parts
        if kind == "basis":
            return said.base(first) and _take_glued_rest(rest, said)
        if kind == "quantity" and rest in _BASIS_OF:
            return said.name(first) and said.base(_BASIS_OF[rest])
        if kind == "unit" and rest in _BASIS_OF:
            return said.measure(first, "power") and said.base(_BASIS_OF[rest])
        if kind == "quantity" and spelled(rest, _UNITS[first]):
            return said.name(first) and said.measure(rest, first)
        if kind == "quantity" and rest.isdecimal() and len(rest) <= 2:
            said.number = int(rest)
            return said.name(first)
    return False


def _take_glued_rest(rest: str, said: _Said) -> bool:
    if (quantity := _QUANTITY_OF.get(rest)) is not None:
        return said.name(quantity)
    for quantity, unit in _UNITS.items():
        if spelled(rest, unit):
            return said.measure(rest, quantity)
    return False


def _partings(word: str) -> Iterator[tuple[tuple[str, str], tuple[str, str]]]:
    """Yield the ways to part a word into a known beginning and a rest."""
    if word[:1] in _SHORT_BASES and word[1:] in _SHORT_NAMES:
        yield ("basis", _SHORT_BASES[word[0]]), ("rest", word[1:])
    for cut in range(len(word) - 1, 1, -1):
        first, rest = word[:cut], word[cut:]
        if first in _BASIS_OF:
            yield ("basis", _BASIS_OF[first]), ("rest", rest)
        if first in _QUANTITY_OF:
            yield ("quantity", _QUANTITY_OF[first]), ("rest", rest)
        if first in ("hp", "bhp"):
            yield ("unit", first), ("rest", rest)
