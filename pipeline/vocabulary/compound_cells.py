"""Cells that say several things at once: V8, 91 octane pump gas, 4.030 x 3.48, a cam card.

Each gives texts for fields, which are then parsed like any others. What is not wholly understood
gives nothing.
"""

from __future__ import annotations

import re
import unicodedata
from typing import TYPE_CHECKING

from pullbook.pipeline.vocabulary import part_cells
from pullbook.pipeline.vocabulary.cam_card import read_cam
from pullbook.pipeline.vocabulary.words import FLAGS, is_missing, meant, plain_word
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

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
    (re.compile(r"^(\d{1,2})[\s\-]?(?:cyl\w*|zyl\w*)?[\s\-]*(?:flat|boxer|opposed)\w*$"), "flat"),
)  # fmt: skip


_ENGLISH = "one=1 two=2 three=3 four=4 five=5 six=6 eight=8 ten=10 twelve=12"
_OTHERS = (
    "zwei=2 drei=3 vier=4 funf=5 sechs=6 acht=8 zehn=10 zwolf=12 cuatro=4 cinco=5 seis=6 ocho=8"
)
_IN_WORDS = dict(pair.split("=") for pair in f"{_ENGLISH} {_OTHERS}".split())
_NUMBER_WORDS = re.compile("|".join(sorted(_IN_WORDS, key=len, reverse=True)))


def _folded(text: str) -> str:
    """Return a text in small letters without accents; points and blanks stay."""
    parts = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in parts if not unicodedata.combining(letter))


def _engine(text: str) -> dict[str, str]:
    """Read V8, inline 6, 8 cyl: cylinders, and arrangement where it is said."""
    plain = _NUMBER_WORDS.sub(lambda word: _IN_WORDS[word[0]], _folded(text))
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
#: Names of fuels whose octane is a research octane number where they are sold.
_SOLD_BY_RON = ("super", "superplus", "eurosuper", "benzin", "bencina", "gasolina", "nafta")
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
    if not kind and plain_word(fuel) in _SOLD_BY_RON:
        kind = "ron"
    made = {"fuel": fuel or "gasoline", "octane": found["number"]}
    if kind in _OTHER_OCTANE:
        made["octane"] = f"{found['number']} {kind.upper()}"
    return made


def _forced(kind: str) -> Callable[[str], dict[str, str]]:
    """Return a reader of a part that makes an engine boosted: Turbo: yes, Blower: roots."""

    def read(text: str) -> dict[str, str]:
        no = FLAGS.get(text.casefold().split(",")[0].strip()) is False
        return {"aspiration": "natural" if no else kind}

    return read


_FACTOR = re.compile(r"^[01][.,]\d+$")


def _factor(text: str) -> dict[str, str]:
    """Read a correction factor, which may be the name of a standard; a number says none."""
    return {} if _FACTOR.match(text) else {"correction": text}


def _standard(text: str) -> dict[str, str]:
    """Read what numbers are in, where a label says nothing but that they are numbers."""
    return {} if meant(text, FIELDS["correction"]) is None else {"correction": text}


def _induction(text: str) -> dict[str, str]:
    for name in ("aspiration", "fuel_metering"):
        if meant(text, FIELDS[name]) is not None:
            return {name: text}
    return {}


_WEATHER = (
    ("air_temperature", re.compile(r"^[+-]?[\d.,]+\s*(?:deg\.?|\u00b0)?\s*[FC]$", re.IGNORECASE)),
    ("relative_humidity", re.compile(r"^[\d.,]+\s*%\s*(?:rh|r\.h\.|rel\.?.*)?$", re.IGNORECASE)),
    ("barometer", re.compile(r"^[\d.,]+\s*(?:\"|in\.?\s*hg|inhg|hg|mbar|hpa|kpa|mmhg|torr|bar)$",
                             re.IGNORECASE)),
)  # fmt: skip


def _weather(text: str) -> dict[str, str]:
    """Read 75F, 29.72", 48% RH: temperature, barometer and humidity told by their units."""
    made: dict[str, str] = {}
    for part in re.split(r"\s*/\s*|,\s+|;\s*", text):
        name = next((name for name, shape in _WEATHER if shape.match(part.strip())), None)
        if name is None or name in made:
            return {}
        made[name] = part.strip().removesuffix("RH").removesuffix("rh").strip()
    return made


_OF_FIELD: Mapping[str, Callable[[str], dict[str, str]]] = {
    "cylinders": _engine,
    "arrangement": _engine,
    "fuel": _fuel,
    "exhaust_type": part_cells.header,
    "intake_valve": part_cells.two("intake_valve", "exhaust_valve", part_cells.SLASH),
    "intake_lift": part_cells.two("intake_lift", "exhaust_lift", part_cells.SLASH),
    "intake_duration": part_cells.number_pair("intake_duration", "exhaust_duration"),
    "bore": part_cells.bore,
    "compression_ratio": part_cells.ratio,
    "fuel_metering": part_cells.carburetor,
    "airflow": part_cells.total_flow,
    "intake_flow": part_cells.flow_at_28("intake_flow"),
    "exhaust_flow": part_cells.flow_at_28("exhaust_flow"),
}
#: The same for headings that name no field, as `plain_word` returns them.
_HEADINGS: tuple[tuple[Callable[[str], dict[str, str]], str], ...] = (
    (
        _engine,
        "engine enginetype type layout config configuration motor motortyp bauform bauart "
        "engineconfiguration tipo tipodemotor motorbauart",
    ),
    (
        read_cam,
        "cam camshaft camcard camspecs camspec camshaftspecs cams nockenwelle "
        "arboldelevas steuerzeiten",
    ),
    (_forced("turbocharged"), "turbo turbos turbocharger turbochargers turbolader"),
    (_forced("supercharged"), "blower supercharger superchargers kompressor compresor"),
    (_factor, "correctionfactor cf korrekturfaktor factordecorreccion corrfactor"),
    (_standard, "numbers data figures results zahlen werte datos"),
    (_induction, "induction"),
    (_weather, "weather conditions wetter klima tiempo ambientconditions"),
    (
        part_cells.header,
        "header headers exhaust primaries primary primarysize headersize auspuff krummer escape",
    ),
    (
        part_cells.two("bore", "stroke", part_cells.TIMES),
        "borexstroke bore/stroke borestroke boreandstroke borestrokein bohrungxhub "
        "bohrunghub diametroxcarrera",
    ),
    (
        part_cells.two("intake_valve", "exhaust_valve", part_cells.SLASH),
        "valves valvesizes valvesize ventile valvulas valvediameters",
    ),
    (
        part_cells.two("intake_lift", "exhaust_lift", part_cells.SLASH),
        "lift valvelift lifts ventilhub alzada",
    ),
    (
        part_cells.number_pair("intake_duration", "exhaust_duration"),
        "duration durations duration050 dur dur050 duration@050",
    ),
    (
        part_cells.number_pair("intake_flow", "exhaust_flow"),
        "flow headflow",
    ),
)
_OF_HEADING = {word: reader for reader, words in _HEADINGS for word in words.split()}


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
