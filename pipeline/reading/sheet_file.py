"""Read a sheet file: fields between --- lines or in a letterhead, then the table of the pull."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pullbook.pipeline.files import bounds, text_file, text_rows
from pullbook.pipeline.layout import document
from pullbook.pipeline.layout.raw_fields import add_fields
from pullbook.pipeline.values.sheet import RawSheet
from pullbook.pipeline.vocabulary.headings import PLAIN
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from pathlib import Path

    from pullbook.pipeline.vocabulary.headings import Headings

FENCE = "---"
#: A --- line as written, or as editors and spreadsheets change it.
_FENCE, _OPENS = re.compile(r"(?:-{3,}|[\u2013\u2014]+)[,;\t]*"), ("-", "\u2013", "\u2014", " ")
#: A field with its value, or a remark; a row of a table that begins with a time is neither.
_LABELLED = re.compile(r"\s*(?:#|[^\W\d][^:]{0,200}:)")
#: The parts of a parts list.
_PARTS_LIST = re.compile(r"^parts[ \t]*:[ \t\r]*$", re.MULTILINE)
#: Most rows of a sheet's table: a sweep of several minutes, read a hundred times a second.
MOST_ROWS = 100_000
_SEPARATORS = (",", ";", "\t", "|")
_PRINTED = re.compile(r"\S+(?: \S+)*")


def has_front_matter(text: str) -> bool:
    """Return whether the first line that is not blank is a --- line."""
    return _FENCE.fullmatch(text.lstrip().split("\n", 1)[0].strip()) is not None


def has_pull(text: str, headings: Headings = PLAIN) -> bool:
    """Return whether a text has a line of headings of a pull: rpm beside torque or power."""
    for line in text.split("\n"):
        if _NEEDED.search(line):
            for cells in (re.split(r"[,;\t|]", line), _PRINTED.findall(line), line.split()):
                if document.is_heading_row([cell.strip() for cell in cells], headings):
                    return True
    return False


#: What a row of headings has in some spelling; it keeps `has_pull` from reading every line.
_NEEDED = re.compile(r"rpm|drehzahl|/min|r[e\u00e9]gimen|revs|speed", re.IGNORECASE)


def read(path: Path, headings: Headings = PLAIN) -> list[RawSheet]:
    """Read the sheets of a file, mostly one; faults become findings of the sheets."""
    try:
        text, notes = text_file.read(path)
        bounds.check_lines(text, path.name)
        sheets = _split_text(text, path, headings)
    except text_file.UnreadableError as fault:
        return [RawSheet(path.stem, str(path), headings=headings, findings=[fault.finding])]
    for sheet in sheets:
        sheet.findings[:0] = notes
    return sheets


def read_first(path: Path, headings: Headings = PLAIN) -> RawSheet:
    """Read the first sheet of a file, such as the only one of a contributed file."""
    return read(path, headings)[0]


def _split_text(text: str, path: Path, headings: Headings) -> list[RawSheet]:
    lines = text.split("\n")
    fences = [
        place
        for place, line in enumerate(lines)
        if line[:1] in _OPENS and _FENCE.fullmatch(line.strip())
    ]
    if not has_front_matter(text) or len(fences) < 2:
        sheets = []
        if not has_front_matter(text):
            rows = text_rows.rows_of(lines, 1, headings.pull, MOST_ROWS)
            sheets = document.sheets_of(rows, str(path), path.stem, headings)
        if not any(sheet.fields for sheet in sheets):
            message = (
                f"{path.name} has no fields of the engine: put them between two {FENCE} lines above"
                " the table, or as labels with values."
            )
            fault = Finding("no-front-matter", message, row=1)
            return [RawSheet(path.stem, str(path), headings=headings, findings=[fault])]
        return document.number(sheets, path.stem)
    sheets = []
    pairs = _pairs(fences, lines)
    ends = [*(first for first, _ in pairs[1:]), len(lines)]
    for (first, last), end in zip(pairs, ends, strict=True):
        sheet = RawSheet(path.stem, str(path), headings=headings)
        fields = lines[first + 1 : last]
        if lines[first].strip()[-1] in _SEPARATORS:  # a spreadsheet adds empty cells
            fields = [_strip_empty_cells(line, lines[first].strip()[-1]) for line in fields]
        add_fields(sheet, "\n".join(fields), first + 2)
        sheet.text = text if sheet.signature else ""
        rows = text_rows.rows_of(lines[last + 1 : end], last + 2, headings.pull, MOST_ROWS)
        sheets += document.continue_sheet(sheet, rows)
    return document.number(sheets, path.stem)


def _pairs(fences: list[int], lines: list[str]) -> list[tuple[int, int]]:
    """Return the pairs of --- lines with fields between them; others are rules of a table."""
    pairs = [(fences[0], fences[1])]
    at = 2
    while at + 1 < len(fences):
        first, last = fences[at], fences[at + 1]
        between = [line for line in lines[first + 1 : last] if line.strip()]
        labelled = [line for line in between if _LABELLED.match(line)]
        if len(labelled) > len(between) / 2:  # a stray line among fields costs that sheet alone
            pairs.append((first, last))
            at += 1
        at += 1
    return pairs


def _strip_empty_cells(line: str, mark: str) -> str:
    """Return a line of fields without the empty cells that a spreadsheet added at its end."""
    line = line.rstrip().rstrip(mark)
    if len(line) > 1 and line.startswith('"') and line.endswith('"'):
        line = line[1:-1].replace('""', '"')
    return line


def read_build(path: Path, headings: Headings = PLAIN) -> RawSheet:
    """Read a build file: plain fields, without a pull."""
    sheet = RawSheet(path.stem, str(path), headings=headings)
    try:
        text, notes = text_file.read(path)
        bounds.check_lines(text, path.name)
        sheet.findings += notes
        if _PARTS_LIST.search(text):
            message = f"{path.name} is a parts list, not a build. Use it with: pullbook choose"
            sheet.findings.append(Finding("not-readable", message))
        else:
            add_fields(sheet, text, 1)
    except text_file.UnreadableError as fault:
        sheet.findings.append(fault.finding)
    return sheet
