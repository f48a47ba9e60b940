"""Words of the trade, in English, German and Spanish: which choice of a field each one means.

All of it is common practice, no source. A word that a reader of dyno sheets takes one way alone is
read so, with a note; one that is mostly meant so is read with a warning; others are not read.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.physics.correction_factors import STANDARDS
from pullbook.schemas.errors import InputError
from pullbook.schemas.fields import FIELDS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.schemas.field import Field

_NOT_WORD = re.compile(r"[\s_\-.'\"()/,+&:;]+")
#: Cells that say that a value is not known.
MISSING = frozenset(
    {"", "na", "n/a", "-", "?", "unknown", "nan", "null", "none", "~", "#n/a", "n.a.", "--",
     "---", "err", "error", "fault", "tbd", "t.b.d.", "tba", "not measured", "not recorded",
     "not known", "not given", "n/k", "nk", "k.a.", "k. a.", "keine angabe", "unbekannt",
     "nicht gemessen", "desconocido", "desconocida", "sin dato", "sin datos", "s/d",
     "no medido", "\u2013", "\u2014", "#value!", "#ref!", "#div/0!", "#name?", "#num!",
     "#null!"}
)  # fmt: skip
_DOUBT = re.compile(r"\?+|\.{3,}|-+")
FLAGS: Mapping[str, bool] = MappingProxyType(
    {"yes": True, "y": True, "true": True, "1": True, "x": True, "ja": True, "j": True,
     "si": True, "s\u00ed": True, "oui": True, "with": True, "on": True, "\u2713": True,
     "\u2714": True, "no": False, "n": False, "false": False, "0": False, "none": False,
     "without": False, "nein": False, "off": False, "ohne": False, "sin": False}
)  # fmt: skip


def plain_word(text: str) -> str:
    """Return a text in lower case, without accents, blanks and marks.

    >>> plain_word("Dual-Plane (180 deg.)"), plain_word("F\u00e4cherkr\u00fcmmer")
    ('dualplane180deg', 'facherkrummer')
    """
    folded = text.casefold()
    if not folded.isascii():
        parts = unicodedata.normalize("NFKD", folded)
        folded = "".join(letter for letter in parts if not unicodedata.combining(letter))
    return _NOT_WORD.sub("", folded)


def is_missing(text: str) -> bool:
    """Return whether a cell means that the value is not known.

    >>> is_missing(" N/A "), is_missing("???"), is_missing("0")
    (True, True, False)
    """
    word = text.strip().casefold()
    return word in MISSING or _DOUBT.fullmatch(word) is not None


#: What words mean: a field, and for each of its choices the words that mean it, as `plain_word`
#: returns them. Certain for who knows the trade.
_TABLE = """\
correction
  observed: obs asobserved uncorrected uncorr raw asmeasured measured notcorrected unkorrigiert
    nichtkorrigiert ohnekorrektur gemessen sincorregir sincorreccion medido
  SAE J1349: j1349 sae1349 saenetj1349
  SAE J607: j607 sae607 stp std stpcorrection stdcorrection saestp saestd stpj607 stdj607
  DIN 70020: din din70020 dincorrected
  ISO 1585: iso iso1585
fuel
  gasoline: petrol gas reg pumpgas pumpfuel pumppetrol premium regular unleaded super superplus
    racegas racefuel racinggasoline benzin gasolina nafta bencina essence
  propane: lpg autogas glp propan propano
  methanol: metanol
  e85: ethanole85 e85ethanol
fuel_metering
  carburetor: carb carbs carburettor carburettors carburetors vergaser carburador carburadores
    4barrel 4barrelcarb 4bbl 4bblcarb 2barrel 2barrelcarb 2bbl 2bblcarb doublepumper
  throttle-body injection: tbi throttlebody monopoint zentraleinspritzung
  port injection: pfi portinjected mpi mpfi efi multiport multiportinjection multipointinjection
    saugrohreinspritzung inyeccionmultipunto
  direct injection: gdi di directinjected direkteinspritzung inyecciondirecta
aspiration
  natural: naturallyaspirated normallyaspirated atmospheric sauger saugmotor saug atmosferico
    aspiracionnatural na nat
  turbocharged: turbo tc turbocharger turbos twinturbo turbolader turboalimentado
  supercharged: supercharger sc blower blown kompressor compresor
arrangement
  vee: v vtype vmotor env
  inline: straight i l r reihe reihenmotor reihen enlinea linea
  flat: opposed boxer horizontallyopposed boxermotor
lifter
  hydraulic flat tappet: hft hydft hydflat hydraulicflat flathydraulic hydflattappet
    flattappethyd hydraulischeflachstossel hydraulischflach taquehidraulicoplano
  solid flat tappet: sft solidft mechft solidflat flatsolid mechanicalflat mechflat
    mechflattappet mechanicalflattappet mechanischflach taquemecanicoplano
  hydraulic roller: hr hydroller hydrroller rollerhyd rollerhydraulic hydrollerlifter
    hydraulischerollen hydraulischerrollenstossel hydraulischerolle rodillohidraulico
  solid roller: sr mechroller mechanicalroller solidrollerlifter rollersolid mechanischerolle
    mechanischerollen rodillomecanico
  overhead cam: ohc dohc sohc overheadcams ohc2v ohc4v dohc2v dohc4v sohc2v sohc4v
intake_type
  dual plane: dp 2plane twoplane 2planes 180degree 180deg 180degrees 180° dualplain dualplanes
    zweiebenen doppelebene dobleplano
  single plane: sp 1plane singleplain 360degree 360deg 360degrees 360° openplenum einebenen
    monoplano planosimple planounico
  tunnel ram: tr tunnelrams
  individual runner: ir irstacks itb itbs individualthrottlebodies individualrunners
    einzeldrossel einzeldrosselklappen
  long runner: longrunners lr
  short runner: shortrunners
exhaust_type
  long-tube header: longtube longtubes lts longtubeheaders lt fulllengthheader fulllengthheaders
    lthheader ltheaders
  shorty header: shorty shorties shortyheaders shorttubeheader shorttubeheaders blockhugger
    blockhuggers
  cast manifold: manifold manifolds castiron castironmanifold castironmanifolds castmanifolds
    castironlogs castlogs logs ironmanifold ironmanifolds logmanifold logmanifolds gusskrummer
    graugusskrummer colectordefundicion
water_pump
  mechanical: mech belt beltdriven mechanisch mecanica
  electric: elec elektrisch electrica
dyno
  engine: enginedyno waterbrake hydraulicbrake eddycurrent flywheel motor motorprufstand bench
    motorbench bancodemotor
  chassis: chassisdyno rollers rollingroad wheel wheels hub hubdyno rollenprufstand
    bancoderodillos
"""


def _customary(table: str) -> dict[str, dict[str, str]]:
    """Return the choice of each word, by field."""
    found: dict[str, dict[str, str]] = {}
    field = choice = ""
    for line in table.splitlines():
        indent = len(line) - len(line.lstrip())
        if indent == 0:
            field = line
            continue
        named, colon, listed = line.strip().partition(": ")
        if indent == 2 and colon:
            choice = named
        else:
            listed = line.strip()
        found.setdefault(field, {}).update(dict.fromkeys(listed.split(), choice))
    return found


CUSTOMARY: Mapping[str, Mapping[str, str]] = MappingProxyType(_customary(_TABLE))
_NOT_CORRECTED = ("no", "none", "off", "nein", "keine", "ohne", "ninguna", "sin")
#: Words that are mostly meant so, and sometimes otherwise: read with a warning.
DOUBTFUL: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "correction": {
            "sae": "SAE J1349",
            "saenet": "SAE J1349",
            "standardstp": "SAE J607",
            **dict.fromkeys(_NOT_CORRECTED, "observed"),
        },
        "exhaust_type": {"stockmanifold": "cast manifold", "stockmanifolds": "cast manifold"},
        "fuel": {"fuel": "gasoline", "alky": "methanol", "alcohol": "methanol"},
    }
)
#: What a label of a correction may begin with, before the standard is named.
_CORRECTED_TO = re.compile(
    r"(?:corr(?:ected|ection)?|korrigiert|corregido|korrektur|correccion)?"
    r"(?:to|nach|a|per|by|segun|factor|standard)?"
)
#: What follows the number of J1349: a revision or its date.
_J1349 = re.compile(
    r"(?:sae)?j?1349(?:net|gross)?(?:rev\w{0,12}|revised\w{0,12}|\d{4,6}|"
    r"(?:jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]{0,6}\d{2,6})?(?:corrected)?"
)
#: Words that turn what is beside them around: the choice is then not read.
_NEGATION = re.compile(
    r"\b(?:no|not|non|was|were|ex|former|formerly|old|from|instead|without|w/o|nicht|kein|keine|"
    r"statt|war|sin|antes|or|oder|o)\b",
    re.IGNORECASE,
)


class Word(NamedTuple):
    """The choice that a text means, and whether that is certain."""

    choice: str
    certain: bool


@lru_cache(maxsize=4096)
def meant(text: str, field: Field) -> Word | None:
    """Return the choice of a field that a text means; ``None`` if it cannot be told.

    A choice or a customary word within a longer text counts if it is the only one, with doubt.
    """
    word = plain_word(text)
    if field.name == "correction":
        return _correction(word) or _standard_within(text)
    for certain, words in ((True, CUSTOMARY), (False, DOUBTFUL)):
        if (choice := words.get(field.name, {}).get(word)) is not None:
            return Word(choice, certain)
    return _within(text, word, field)


def standard_of(text: str) -> str:
    """Return the standard of correction that a text names.

    >>> standard_of("j607")
    'SAE J607'

    Raises
    ------
    InputError
        It names none, or none for certain.

    """
    found = meant(text, FIELDS["correction"])
    if found is None or found.choice not in STANDARDS or not found.certain:
        msg = f"{text!r} is no standard of correction; choose {', '.join(STANDARDS)}"
        raise InputError(msg)
    return found.choice


def _correction(word: str) -> Word | None:
    standards = CUSTOMARY["correction"]
    rest = word.removesuffix("corrected") or word
    if _J1349.fullmatch(word):
        return Word("SAE J1349", certain=True)
    begins = _CORRECTED_TO.match(word)
    named = word[begins.end() :] if begins else word
    for one in (word, rest, named):
        for choice in ("SAE J1349", "SAE J607", "DIN 70020", "ISO 1585"):
            if one == plain_word(choice):
                return Word(choice, certain=True)
        if one in standards:
            return Word(standards[one], certain=True)
        if _J1349.fullmatch(one):
            return Word("SAE J1349", certain=True)
        if one in DOUBTFUL["correction"]:
            return Word(DOUBTFUL["correction"][one], certain=False)
    return None


def _standard_within(text: str) -> Word | None:
    """Return the one standard that a longer text names, such as STD (29.92, 60F dry)."""
    if _NEGATION.search(text):
        return None
    tokens = (plain_word(token) for token in re.split(r"[\s()/,;]+", text))
    found = {
        word.choice
        for token in tokens
        if len(token) > 2 and (word := _correction(token)) is not None
    }
    return Word(found.pop(), certain=False) if len(found) == 1 else None


#: Shorter words than this are no evidence within a longer text.
_TELLING = 5


def _within(text: str, word: str, field: Field) -> Word | None:
    if _NEGATION.search(text):
        return None
    own = {plain_word(choice): choice for choice in field.choices}
    own |= {
        one: choice for one, choice in CUSTOMARY.get(field.name, {}).items() if len(one) >= _TELLING
    }
    found = {choice for one, choice in own.items() if len(one) >= _TELLING and one in word}
    # "shorty header" contains "shorty"; "long runner" and "short runner" exclude each other.
    return Word(found.pop(), certain=False) if len(found) == 1 else None
