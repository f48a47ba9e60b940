"""Which column of a quantity counts: the one in the correction that the sheet names."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from pullbook.pipeline.vocabulary.column_heading import CORRECTED, OBSERVED
from pullbook.pipeline.vocabulary.units import UnknownUnitError, WrongUnitError, scale
from pullbook.schemas.fields import FIELDS, PULL_FIELDS
from pullbook.schemas.findings import Decision, Finding

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pullbook.pipeline.layout.pull_block import Block, Column

_QUANTITIES = ("torque", "power")
#: Two columns of one quantity may differ by so much after their units, as a share.
_AGREE = 0.01


class Chosen(NamedTuple):
    """The columns of a pull that count.

    Attributes
    ----------
    columns
        One column for each quantity.
    findings
        What was chosen, and what cannot be.
    correction
        The correction that the headings name, where the sheet names none.
    """

    columns: dict[str, Column]
    findings: list[Finding]
    correction: str | None


def choose(block: Block, correction: str | None, *, weather: bool) -> Chosen:
    """Choose one column of each quantity.

    Parameters
    ----------
    block
        The pull.
    correction
        What the sheet is in; ``None`` if it does not say.
    weather
        Whether the sheet has the weather, so that observed numbers can be corrected.

    """
    columns = {
        name: own[0] for name, own in block.columns.items() if name not in _QUANTITIES and own
    }
    labelled = {
        name: _labelled(block.columns[name]) for name in _QUANTITIES if name in block.columns
    }
    wanted = correction
    findings: list[Finding] = []
    if wanted is None:
        wanted = _named_by_headings(labelled, weather=weather)
    for name, own in labelled.items():
        fitting = [column for basis, column in own if _fits(basis, wanted)]
        if fitting:
            columns[name] = fitting[0]
            findings += _say(name, fitting[0], own, wanted)
            findings += _check_same(block, name, fitting)
    if not any(name in columns for name in labelled):
        findings += _contradiction(labelled, correction, block)
        columns |= {name: own[0][1] for name, own in labelled.items()}
    return Chosen(columns, findings, wanted if correction is None else None)


def _labelled(columns: list[Column]) -> list[tuple[str | None, Column]]:
    """Return columns with what each is in; one without a word beside one with is the other."""
    bases = {column.basis for column in columns} - {None}
    other = None if not bases else CORRECTED if bases == {OBSERVED} else OBSERVED
    if OBSERVED in bases and len(bases) > 1:
        other = None
    return [(column.basis or other, column) for column in columns]


def _fits(basis: str | None, wanted: str | None) -> bool:
    if basis is None or wanted is None:
        return basis is None or basis != CORRECTED
    if wanted == OBSERVED:
        return basis == OBSERVED
    return basis in (wanted, CORRECTED)


def _named_by_headings(
    labelled: dict[str, list[tuple[str | None, Column]]], *, weather: bool
) -> str | None:
    """Return the correction that headings name, where the sheet names none."""
    bases = {basis for own in labelled.values() for basis, _ in own} - {None}
    standards = bases - {OBSERVED, CORRECTED}
    if OBSERVED in bases and (weather or not standards) and (weather or CORRECTED not in bases):
        return OBSERVED
    return next(iter(standards)) if len(standards) == 1 else None


def _say(
    name: str, chosen: Column, own: list[tuple[str | None, Column]], wanted: str | None
) -> Iterator[Finding]:
    others = [column.heading for _, column in own if column is not chosen]
    if others:
        left = ", ".join(repr(heading) for heading in others)
        why = f", which is {wanted}" if wanted is not None else ""
        message = f"Column {chosen.heading!r} was used for {name}{why}; {left} was left out."
        yield Finding("column-chosen", message, name, None, chosen.heading)


def _check_same(block: Block, name: str, columns: list[Column]) -> Iterator[Finding]:
    """Columns of one quantity in one correction agree, but for their units."""
    first, own = columns[0], PULL_FIELDS[name].unit
    for column in columns[1:]:
        pairs = [
            (one, other)
            for _, cells in block.rows
            if (one := _number(cells, first, own)) and (other := _number(cells, column, own))
        ]
        off = [abs(one / other - 1) > _AGREE for one, other in pairs]
        if pairs and sum(off) > len(off) / 2:
            message = (
                f"Columns {first.heading!r} and {column.heading!r} are both {name} and do not"
                " agree. Say in the headings what each is in."
            )
            yield Finding("two-corrections", message, name, None, column.heading)


def _number(cells: list[str], column: Column, own: str) -> float | None:
    try:
        slope, _ = scale(column.unit, own)
        text = cells[column.place] if column.place < len(cells) else ""
        return float(text.replace(",", ".")) * slope * column.factor
    except (ValueError, UnknownUnitError, WrongUnitError):
        return None


def _contradiction(
    labelled: dict[str, list[tuple[str | None, Column]]], correction: str | None, block: Block
) -> Iterator[Finding]:
    if not labelled:
        return
    row = block.rows[0][0] - 1 if block.rows else None
    named = [column for own in labelled.values() for _, column in own]
    first = named[0]
    columns = ", ".join(repr(column.heading) for column in named)
    if correction is None:
        message = (
            f"The headings ({columns}) do not say which standard the numbers are in. Add the field"
            f" correction: {FIELDS['correction'].allowed}."
        )
    else:
        said = first.basis or CORRECTED
        message = (
            f"Column {first.heading!r} is {said} by its heading, and the sheet says {correction}."
            " Correct the one that is wrong."
        )
    decision = Decision(
        f"what are the columns {columns} in?",
        tuple(
            f'headings: {{"{first.heading}": {name} ({basis})}}'
            for name in list(labelled)[:1]
            for basis in (OBSERVED, *([correction] if correction not in (None, OBSERVED) else []))
        ),
    )
    yield Finding("column-correction", message, next(iter(labelled)), row, first.heading, decision)
