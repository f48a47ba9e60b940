"""The fields of a build in a form: unit, tested range, what is wrong and what it would narrow."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pullbook.schemas import field_words
from pullbook.schemas.field import Kind
from pullbook.schemas.fields import FIELDS
from pullbook.schemas.severity import Severity
from pullbook.words import figures
from pullbook.workspace import build_fields

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from pullbook.model.trained.trained_model import Model
    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.answer import Missing
    from pullbook.words.units import Units

_LEAST = 0.01
_FLAGS = ("yes", "no")


@dataclass(frozen=True, slots=True)
class Entry:
    """One field of a form.

    Attributes
    ----------
    name, label, unit
        The field, in words, and its unit.
    value
        What is typed in.
    choices
        What can be chosen; empty for a field to type in.
    known
        What others typed, to pick from.
    tested
        The tested range in words.
    errors, notes
        What is wrong with it, and what was read differently.
    narrows
        How much it would narrow the limits, where it is not given.
    """

    name: str
    label: str
    unit: str
    value: str
    choices: tuple[str, ...] = ()
    known: tuple[str, ...] = ()
    tested: str = ""
    errors: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    narrows: str = ""

    @property
    def numeric(self) -> bool:
        """Whether a number is typed in."""
        return FIELDS[self.name].numeric


@dataclass(frozen=True, slots=True)
class Group:
    """Fields that belong together; ``open`` where something in it is typed in or wrong."""

    title: str
    entries: tuple[Entry, ...]

    @property
    def given(self) -> int:
        """How many fields are filled in."""
        return sum(bool(entry.value) for entry in self.entries)

    @property
    def open(self) -> bool:
        """Whether the group is to be seen at once."""
        return any(entry.errors or entry.value for entry in self.entries)


def groups(
    given: Mapping[str, str],
    units: Units,
    model: Model | None = None,
    build: Build | None = None,
    missing: Sequence[Missing] = (),
) -> list[Group]:
    """Return the fields of a form by group.

    Parameters
    ----------
    given
        What was typed in, by field; whatever it is, it stands in the form again.
    units
        Units of the form.
    model
        The model whose tested ranges stand beside the fields.
    build
        The build that was read from it, with what is wrong.
    missing
        What the fields that are not given would bring.
    """
    worth = {one.field: one.narrows or 0.0 for one in missing}
    return [
        Group(title, tuple(_entry(name, given, units, model, build, worth) for name in names))
        for title, names in build_fields.GROUPS.items()
    ]


def _entry(
    name: str,
    given: Mapping[str, str],
    units: Units,
    model: Model | None,
    build: Build | None,
    worth: Mapping[str, float],
) -> Entry:
    field = FIELDS[name]
    found = [] if build is None else [one for one in build.findings if one.field == name]
    errors = tuple(one.message for one in found if one.severity is Severity.REFUSE)
    narrows = worth.get(name, 0.0)
    return Entry(
        name,
        "Name" if name == "sheet_id" else field.title,
        "" if field.unit == ":1" else field_words.unit_of(name, metric=units.metric),
        given.get(name, ""),
        _FLAGS if field.kind is Kind.FLAG else field.choices,
        known(model, name) if name == "family" else (),
        "" if model is None else tested(model, name, units),
        errors,
        tuple(one.message for one in found if one.severity is not Severity.REFUSE),
        f"narrows the limits by about {figures.percents(100 * narrows)} %"
        if narrows >= _LEAST
        else "",
    )


def known(model: Model | None, name: str) -> tuple[str, ...]:
    """Return the values of a text field that the model has seen."""
    if model is None:
        return ()
    return tuple(sorted({str(value) for value in model.fields[name].dropna().tolist()}))


def tested(model: Model, name: str, units: Units) -> str:
    """Return the tested range of a number in words; empty where none is known."""
    found = model.reference.ranges.get(name)
    if found is None or not FIELDS[name].numeric:
        return ""
    return f"tested {field_words.Range(name, *found).worded(metric=units.metric)}"


def elsewhere(build: Build, names: Iterable[str]) -> list[str]:
    """Return what is wrong with a build beside the fields of a form."""
    shown = set(names)
    return [
        one.message
        for one in build.findings
        if one.severity is Severity.REFUSE and one.field not in shown
    ]
