"""Parse the text of one cell into a typed value, or into a finding that says what is wrong."""

from __future__ import annotations

import json
import math
import re
from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.values.settled import Settled
from pullbook.pipeline.vocabulary import dates, numerals, words
from pullbook.pipeline.vocabulary.check_lift import OtherLiftError, without_lift
from pullbook.pipeline.vocabulary.headings import squash
from pullbook.pipeline.vocabulary.units import UnknownUnitError, WrongUnitError, scale
from pullbook.pipeline.vocabulary.words import FLAGS, is_missing
from pullbook.schemas.errors import InputError, did_you_mean
from pullbook.schemas.field import Kind
from pullbook.schemas.findings import Decision, Finding

if TYPE_CHECKING:
    from pullbook.schemas.field import Field, Value


#: Most characters of a value that is no text.
LONGEST = 300
#: No value of a sheet comes near to this number.
_LARGEST = 1e12


class CellError(InputError):
    """A cell that cannot be parsed; ``finding`` says why."""

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding.message)
        self.finding = finding


class Parsed(NamedTuple):
    """The value of a cell, a finding if its text had to be interpreted, and how it was settled."""

    value: Value
    finding: Finding | None = None
    settled: Settled = Settled.WRITTEN


def parse(
    text: str,
    field: Field,
    unit: str | None = None,
    row: int | None = None,
    mark: str | None = None,
) -> Parsed:
    """Return the value of a cell, with a finding if the text had to be interpreted.

    Parameters
    ----------
    text
        The cell as written.
    field
        The field it belongs to.
    unit
        The unit in its heading, if any; a unit in the cell itself takes precedence.
    row
        The row in the file, counted from 1, for findings.
    mark
        The decimal mark of the sheet, as `numerals.decimal_mark` found it.

    Raises
    ------
    CellError
        The text is not a value of the field.

    """
    text = text.strip()
    if len(text) > LONGEST and field.kind is not Kind.TEXT:
        message = f"{field.title} has more than {LONGEST} characters. Shorten it."
        raise _cell_error(field, row, text[:LONGEST], "too-long", message)
    if field.kind is Kind.NUMBER and mark is None and unit is None:
        number = numerals.plain(text)
        if number is not None and abs(number) <= _LARGEST:
            return Parsed(number)
    as_word = field.kind is Kind.FLAG and text.casefold() in FLAGS
    if is_missing(text) and not as_word and not _is_no_correction(text, field):
        return Parsed(None)
    found = _parse_kind(text, field, unit, row, mark)
    if isinstance(found.value, float | int) and abs(found.value) > _LARGEST:
        message = f"{field.title} is {text!r}, which no engine has."
        raise _cell_error(field, row, text, "out-of-range", message)
    return found


def _is_no_correction(text: str, field: Field) -> bool:
    """Return whether a cell says that numbers are not corrected, rather than nothing."""
    return field.name == "correction" and text.casefold() == "none"


def _parse_kind(
    text: str, field: Field, unit: str | None, row: int | None, mark: str | None
) -> Parsed:
    match field.kind:
        case Kind.TEXT:
            return Parsed(text)
        case Kind.FLAG:
            return _parse_flag(text, field, row)
        case Kind.DATE:
            return _parse_year(text, field, row)
        case Kind.CHOICE:
            return _parse_choice(text, field, row)
        case _:
            return _parse_number(text, field, unit, row, mark)


def _cell_error(
    field: Field,
    row: int | None,
    text: str,
    code: str,
    message: str,
    decision: Decision | None = None,
) -> CellError:
    return CellError(Finding(code, message, field.name, row, text, decision))


def _parse_flag(text: str, field: Field, row: int | None) -> Parsed:
    first = text.casefold().split(",")[0].strip()
    if first != text.casefold() and first in FLAGS:
        message = f"{field.title} {text!r} was taken to mean {first!r}. Check it."
        finding = Finding("word-assumed", message, field.name, row, text)
        return Parsed(FLAGS[first], finding, Settled.ASSUMED)
    try:
        return Parsed(FLAGS[text.casefold()])
    except KeyError:
        message = f"{field.title} is {text!r}. Write yes or no."
        decision = _decide_word(text, field, ("yes", "no"))
        raise _cell_error(field, row, text, "not-yes-or-no", message, decision) from None


def _parse_year(text: str, field: Field, row: int | None) -> Parsed:
    found = dates.year_of(text)
    if found is None:
        message = f"{field.title} is {text!r}. Write a date such as 2024-05-31, or just the year."
        raise _cell_error(field, row, text, "not-a-date", message)
    if found.certain:
        return Parsed(found.year)
    message = f"{field.title} {text!r} was taken to be in {found.year}. Write the whole year."
    finding = Finding("word-assumed", message, field.name, row, text)
    return Parsed(found.year, finding, Settled.ASSUMED)


def _parse_choice(text: str, field: Field, row: int | None) -> Parsed:
    if text in field.choices:
        return Parsed(text)
    short = squash(text)
    for choice in field.choices:
        if squash(choice) == short:
            return Parsed(choice)
    found = words.meant(text, field)
    decision = _decide_word(text, field, field.choices)
    if found is None:
        near = did_you_mean(text, field.choices)
        message = f"{field.title} is {text!r}. Choose one of: {field.allowed}.{near}"
        raise _cell_error(field, row, text, "not-a-choice", message, decision)
    if found.certain:
        note = f"{field.title} {text!r} was read as {found.choice!r}."
        finding = Finding("read-as", note, field.name, row, text)
        return Parsed(found.choice, finding, Settled.CUSTOMARY)
    message = f"{field.title} {text!r} was taken to mean {found.choice!r}. Check it."
    finding = Finding("word-assumed", message, field.name, row, text, decision)
    return Parsed(found.choice, finding, Settled.ASSUMED)


def _decide_word(text: str, field: Field, choices: tuple[str, ...]) -> Decision:
    """Return the question what a word means, with the settings that answer it."""
    word = json.dumps(text, ensure_ascii=False)
    return Decision(
        f"what does {field.label} {text!r} mean?",
        tuple(f"words: {{{field.name}: {{{word}: {choice}}}}}" for choice in choices),
    )


#: Marks around a number that say it is not sure, or has a footnote.
_MARKED = re.compile(
    r"^(?P<before>(?:~|\u2248|ca\.?|circa|approx\.?|about|abt\.?|c\.)\s*)?(?P<number>.*?)"
    r"(?P<after>\s*(?:\+/-\s*[\d.]+|\u00b1\s*[\d.]+|\*{1,3}|\u2020|\u2021|\?|\(?est(?:imated|\.)?\)?|\(e\)|\(approx\.?\)))?$",
    re.IGNORECASE | re.DOTALL,
)
_MOST_LETTERS = 60
#: Octane of another method, and how it compares: common practice, no source.
_OTHER_OCTANE = re.compile(r"\b(?:RON|ROZ|MON|MOZ)\b", re.IGNORECASE)
_RESEARCH = " AKI is (R+M)/2, for pump petrol about 4 to 5 below RON."


def _without_marks(text: str) -> tuple[str, bool]:
    """Return a number without the marks around it, and whether there were any."""
    found = _MARKED.match(text) if len(text) <= _MOST_LETTERS else None
    if found is None or not (found["before"] or found["after"]):
        return text, False
    return found["number"].strip(), True


def _parse_number(
    text: str, field: Field, unit: str | None, row: int | None, mark: str | None
) -> Parsed:
    bare, marked = _without_marks(text)
    found = numerals.read(bare, mark)
    if found is None or not all(map(math.isfinite, found.readings)):
        point = ", with a point for decimals" if field.kind is Kind.NUMBER else ""
        message = f"{field.title} is {text!r}, which is not a number. Write {field.allowed}{point}."
        raise _cell_error(field, row, text, "not-a-number", message)
    try:
        rest = without_lift(found.rest.strip(), field.name)
    except OtherLiftError as error:
        message = f"{field.title} is {text!r}, {error}"
        raise _cell_error(field, row, text, "wrong-unit", message) from None
    try:
        slope, offset = scale(rest or unit, field.unit)
    except (UnknownUnitError, WrongUnitError) as error:
        code = "unknown-unit" if isinstance(error, UnknownUnitError) else "wrong-unit"
        hint = _RESEARCH if field.name == "octane" and _OTHER_OCTANE.search(text) else ""
        message = f"{field.title} is {text!r}: {error}. Write {field.allowed}.{hint}"
        raise _cell_error(field, row, text, code, message) from None
    numbers = [slope * reading + offset for reading in found.readings]
    if len(numbers) > 1 and field.low is not None and field.high is not None:
        numbers = [n for n in numbers if field.low <= n <= field.high] or numbers
    number = numbers[0]
    if len(numbers) > 1:
        message = (
            f"{field.title} is {text!r}: the comma could mean decimals or thousands. Write a point"
            " for decimals and nothing between thousands."
        )
        raise _cell_error(field, row, text, "ambiguous-number", message)
    if field.kind is Kind.WHOLE:
        if number != round(number):
            message = f"{field.title} is {text!r}. Write {field.allowed}."
            raise _cell_error(field, row, text, "not-whole", message)
        number = round(number)
    if marked:
        message = f"{field.title} {text!r} carries a mark; it counts as {field.quantity(number)}."
        finding = Finding("marked-number", message, field.name, row, text)
        return Parsed(number, finding, Settled.ASSUMED)
    if found.note is None:
        return Parsed(number)
    written = rest or unit
    shown = f"{(number - offset) / slope:.6g} {written}" if written else field.quantity(number)
    message = f"{field.title} {text!r} was read as {shown}."
    return Parsed(number, Finding(found.note, message, field.name, row, text))
