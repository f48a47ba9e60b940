"""Parse the table of a pull into readings, with the units that are named, settled or proven."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from pullbook.pipeline.layout.pull_block import restarts
from pullbook.pipeline.layout.table_layout import blocks
from pullbook.pipeline.layout.titles import ask, tells_apart
from pullbook.pipeline.reading.choose_columns import choose
from pullbook.pipeline.reading.pull_column import RUN, PullColumn
from pullbook.pipeline.reading.pull_units import Bare, EngineSize, settle_units
from pullbook.pipeline.reading.sweeps import split_sweeps
from pullbook.pipeline.values.settled import Settled
from pullbook.pipeline.values.sheet import Reading
from pullbook.pipeline.values.unit_proof import half_step
from pullbook.pipeline.vocabulary import numerals
from pullbook.pipeline.vocabulary.headings import squash
from pullbook.pipeline.vocabulary.words import is_missing
from pullbook.schemas.fields import PULL_FIELDS
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from pullbook.pipeline.layout.pull_block import Block, Column
    from pullbook.pipeline.reading.choose_columns import Chosen
    from pullbook.pipeline.values.sheet import RawSheet


@dataclass(slots=True)
class ParsedPull:
    """What the table of a sheet holds.

    Attributes
    ----------
    readings
        The rows that could be read, in lb-ft and hp.
    columns
        The quantities that were read, each with its unit as written; ``None`` is the default one.
    settled
        How the unit of each quantity was settled.
    correction
        The correction that the headings name, where the sheet names none.
    findings
        Faults, and what was inferred.
    """

    readings: list[Reading] = field(default_factory=list)
    columns: dict[str, str | None] = field(default_factory=dict)
    settled: dict[str, Settled] = field(default_factory=dict)
    correction: str | None = None
    findings: list[Finding] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class OfSheet:
    """What the fields of a sheet say about its pull.

    Attributes
    ----------
    correction
        What the numbers are in, if the sheet says it.
    weather
        Whether the weather is there.
    metric
        Whether bore or stroke is in a metric unit, so that a bare torque proves nothing.
    displacement
        Displacement, in3, if known.
    natural
        Whether the engine is naturally aspirated.
    mark
        Decimal mark of the table.
    """

    correction: str | None
    weather: bool
    metric: bool
    displacement: float | None
    natural: bool
    mark: str | None


def parse_pull(raw: RawSheet, sheet: OfSheet) -> ParsedPull:
    """Return the readings of a sheet's table; every fault becomes a finding."""
    made = ParsedPull()
    found, in_layout = blocks(raw.table or [], raw.headings)
    made.findings += [f for f in in_layout if squash(f.field or "") not in raw.ignored]
    pulls: dict[str, int] = {}
    made.findings += [] if raw.one_build else _other_builds(found, raw.sheet_id)
    for block, chosen in _choose(found, sheet):
        made.findings += chosen.findings
        made.correction = made.correction or chosen.correction
        own = _read_block(block, chosen.columns, raw, sheet, made, pulls)
        numbered = "pull" in chosen.columns
        own, in_sweeps = split_sweeps(own, block.number, numbered=numbered)
        made.findings += in_sweeps
        made.readings += own
    if any(tells_apart(name) for name in pulls) and len(pulls) > 1 and not raw.one_build:
        made.findings.append(ask(list(pulls), None, raw.sheet_id))
    if pulls:
        names = ", ".join(repr(name) for name in list(pulls)[:5])
        message = f"Pulls {names} were numbered in the order of the file."
        made.findings.append(Finding("read-as", message, "pull", None, names))
    return made


def _choose(found: list[Block], sheet: OfSheet) -> list[tuple[Block, Chosen]]:
    """Return the pulls with the columns that count; of pulls in two corrections those of the sheet.

    Where the sheet names no correction, the first pull whose title or headings do says it for all.
    """
    correction = sheet.correction
    all_chosen = []
    for block in found:
        chosen = choose(block, correction, weather=sheet.weather)
        correction = correction or chosen.correction
        all_chosen.append((block, chosen))
    fitting = [
        (block, chosen)
        for block, chosen in all_chosen
        if all(finding.code != "column-correction" for finding in chosen.findings)
    ]
    if not fitting or len(fitting) == len(all_chosen):
        return all_chosen
    rows = ", ".join(str(b.rows[0][0]) for b, c in all_chosen if (b, c) not in fitting and b.rows)
    message = (
        f"The pull from row {rows} on is in another correction than the sheet; it was left out."
    )
    fitting[0][1].findings.append(Finding("pull-left-out", message, "torque"))
    return fitting


def _other_builds(found: list[Block], sheet_id: str) -> list[Finding]:
    """Ask whether pulls under different titles are of one build."""
    first = {block.number: block for block in reversed(found) if block.rows}
    above = [block.title for block in reversed(first.values())]
    telling = [title for title in above if tells_apart(title)] if len(set(above)) > 1 else []
    telling += [title for block in found for title in restarts(block) if tells_apart(title)]
    return [ask(telling, None, sheet_id)] if telling else []


def _read_block(
    block: Block,
    chosen: dict[str, Column],
    raw: RawSheet,
    sheet: OfSheet,
    made: ParsedPull,
    pulls: dict[str, int],
) -> list[Reading]:
    columns: dict[str, PullColumn] = {}
    for name, column in chosen.items():
        unit, settled = column.unit, Settled.WRITTEN if column.unit is None else Settled.HEADING
        texts = [
            cells[column.place] if column.place < len(cells) else "" for _, cells in block.rows
        ]
        if name == "pull":
            texts = _number_pulls(texts, pulls)
        columns[name] = PullColumn(name, unit, column.factor)
        columns[name].read(texts, block.rows, sheet.mark)
        made.findings += columns[name].findings
        made.columns[name], made.settled[name] = unit, settled
    _settle(columns, raw, sheet, made, block)
    return _readings(block, columns, made)


def _settle(
    columns: dict[str, PullColumn], raw: RawSheet, sheet: OfSheet, made: ParsedPull, block: Block
) -> None:
    """Settle the units of torque and power that are named nowhere."""
    bare = {
        name: Bare(
            columns[name].numbers,
            columns[name].factor * half_step(columns[name].texts, sheet.mark),
            columns[name].unit,
        )
        for name in (*PULL_FIELDS,)
        if name in columns and name != "pull"
    }
    row = block.rows[0][0] if block.rows else None
    engine = EngineSize(sheet.metric, sheet.displacement if sheet.natural else None)
    for name, settled in settle_units(bare, engine, raw.units, row).items():
        if settled.finding is not None:
            made.findings.append(settled.finding)
        if settled.unit is not None:
            columns[name].convert(settled.unit)
            made.columns[name], made.settled[name] = settled.unit, settled.how


def _readings(block: Block, columns: dict[str, PullColumn], made: ParsedPull) -> list[Reading]:
    nothing: list[float | None] = [None] * len(block.rows)
    rpm, torque, power, pull = (
        columns[name].numbers if name in columns else nothing
        for name in ("rpm", "torque", "power", "pull")
    )
    spoiled = set().union(*(column.spoiled for column in columns.values()))
    readings: list[Reading] = []
    for at, (row, _) in enumerate(block.rows):
        if row in spoiled:
            continue
        if torque[at] is None and power[at] is None:
            message = f"There is no torque and no power in row {row}; it was left out."
            made.findings.append(Finding("row-without-reading", message, "torque", row))
        elif (speed := rpm[at]) is None:
            message = f"The reading in row {row} has no rpm. Add it, or delete the reading."
            made.findings.append(Finding("missing-rpm", message, "rpm", row))
        else:
            number = int(pull[at] or block.number)
            readings.append(Reading(row, number, speed, torque[at], power[at]))
    return readings


def _number_pulls(texts: list[str], pulls: dict[str, int]) -> list[str]:
    """Return numbers for pulls with names such as A and B, and add new names to ``pulls``.

    A name also holds for the blank cells below it. The texts are returned unchanged if any of them
    is a number (a column of numbers), or if most rows have a name of their own (no pulls).
    """
    names: list[str] = []
    for text in texts:
        above = names[-1] if names else ""
        names.append(above if is_missing(text) else text.strip())
    given = [name for name in names if name]
    numbers = (numerals.plain(name) is not None or RUN.fullmatch(name) for name in given)
    if any(numbers) or 2 * len(set(given)) > len(given):
        return names if all(map(_RUN_OR_NUMBER.fullmatch, given)) else texts
    return [str(pulls.setdefault(name, len(pulls) + 1)) if name else "" for name in names]


_RUN_OR_NUMBER = re.compile(r"\s*(?:run|pull|sweep|lauf|no\.?|#)?\s*\d+\s*", re.IGNORECASE)
