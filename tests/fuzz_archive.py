"""Spoil readable sheets at random: what is read is right, or refused, or warned of. ``make fuzz``.

The spoils are what happens to files: cells lost, marks added, letters typed for digits, lines
moved, headings cut. None turns a number into another that a person could take for the truth.
"""

from __future__ import annotations

import random
import re
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from archive_kinds import corpus
from archive_reading import wrong_numbers
from archive_truth import Case

_FENCE = "---"
Spoil = Callable[[list[str], random.Random], list[str]]


def _mark(line: str) -> str:
    return max(",;\t", key=line.count)


def _rows(lines: list[str]) -> list[int]:
    """Return the places of readings: lines with two cells and more that begin with a digit."""
    return [
        place
        for place, line in enumerate(lines)
        if line[:1].isdigit() and len(re.split(r"[,;\t]", line)) > 1
    ]


def _in_a_row(change: Callable[[list[str], random.Random], list[str]]) -> Spoil:
    """Return a spoil that changes the cells of one reading."""

    def spoil(lines: list[str], rng: random.Random) -> list[str]:
        rows = _rows(lines)
        if not rows:
            return lines
        at = rng.choice(rows)
        mark = _mark(lines[at])
        cells = change(lines[at].split(mark), rng)
        return [*lines[:at], mark.join(cells), *lines[at + 1 :]]

    return spoil


def _in_a_cell(change: Callable[[str, random.Random], str]) -> Spoil:
    """Return a spoil that changes one cell of one reading."""

    def one(cells: list[str], rng: random.Random) -> list[str]:
        at = rng.randrange(len(cells))
        return [*cells[:at], change(cells[at], rng), *cells[at + 1 :]]

    return _in_a_row(one)


def _heading(lines: list[str]) -> int | None:
    rows = _rows(lines)
    return rows[0] - 1 if rows and rows[0] > 0 else None


def _in_the_heading(change: Callable[[str, random.Random], str]) -> Spoil:
    def spoil(lines: list[str], rng: random.Random) -> list[str]:
        at = _heading(lines)
        if at is None or not lines[at].strip() or lines[at].startswith(_FENCE):
            return lines
        mark = _mark(lines[at])
        cells = lines[at].split(mark)
        place = rng.randrange(len(cells))
        cells[place] = change(cells[place], rng)
        return [*lines[:at], mark.join(cells), *lines[at + 1 :]]

    return spoil


def _insert(text: str, rng: random.Random) -> str:
    at = rng.randrange(len(text) + 1)
    return text[:at] + rng.choice("xzq#_ ") + text[at:]


def _swap_columns(lines: list[str], rng: random.Random) -> list[str]:
    rows, head = _rows(lines), _heading(lines)
    if head is None:
        return lines
    mark = _mark(lines[rows[0]])
    width = min(len(lines[place].split(mark)) for place in (head, *rows))
    if width < 2 or lines[head].startswith(_FENCE):
        return lines
    a, b = rng.sample(range(width), 2)
    out = list(lines)
    for place in (head, *rows):
        cells = out[place].split(mark)
        cells[a], cells[b] = cells[b], cells[a]
        out[place] = mark.join(cells)
    return out


def _another_channel(lines: list[str], rng: random.Random) -> list[str]:
    rows, head = _rows(lines), _heading(lines)
    if head is None or lines[head].startswith(_FENCE):
        return lines
    mark = _mark(lines[rows[0]])
    name = rng.choice(["Lambda", "EGT 1", "Oil psi", "Fuel lb/hr", "BSFC", "Fuel temp", "VE %"])
    out = list(lines)
    width = out[head].count(mark)
    out[head] += f"{mark}{name}"
    for place in rows:  # below its heading, also in a row that a cell was cut from
        out[place] += mark * (width - out[place].count(mark))
        out[place] += f"{mark}{rng.uniform(0.4, 1200):.2f}"
    return out


def _reversed(lines: list[str], rng: random.Random) -> list[str]:
    rows = _rows(lines)
    first = next((at for at, place in enumerate(rows) if place - at != rows[0]), len(rows))
    rows = rows[:first]  # of the first pull alone: another's readings would be another engine's
    out = list(lines)
    order = rows[::-1] if rng.random() < 0.5 else rng.sample(rows, len(rows))
    for place, other in zip(rows, order, strict=True):
        out[place] = lines[other]
    return out


def _without_a_line(lines: list[str], rng: random.Random) -> list[str]:
    at = rng.randrange(len(lines))
    return lines[:at] + lines[at + 1 :]


def _a_line_more(lines: list[str], rng: random.Random) -> list[str]:
    at = rng.randrange(len(lines) + 1)
    text = rng.choice(["", "Page 2 of 3", "operator: mate", "AVG,301.2,200.1", ",,,", "=" * 20,
                       "end of test", "MAX;400;300", "\x0c"])  # fmt: skip
    return [*lines[:at], text, *lines[at:]]


def _twice(lines: list[str], rng: random.Random) -> list[str]:
    at = rng.randrange(len(lines))
    return [*lines[: at + 1], *lines[at:]]


SPOILS: dict[str, Spoil] = {
    "a cell lost": _in_a_cell(lambda _text, _rng: ""),
    "a mark": _in_a_cell(lambda text, rng: text + rng.choice(["*", "?", " (e)", "#", "!"])),
    "a letter for a digit": _in_a_cell(
        lambda text, rng: text.replace(*rng.choice(["0O", "1l", "5S"]))
    ),
    "a comma for a point": _in_a_cell(lambda text, _rng: text.replace(".", ",")),
    "a digit too many": _in_a_cell(
        lambda text, _rng: text.replace(".", "") if "." in text else f"{text}{text[-1:]}"
    ),
    "a cell too many": _in_a_row(lambda cells, rng: [*cells, rng.choice(["", "ok", "12"])]),
    "a cell cut": _in_a_row(lambda cells, _rng: cells[:-1]),
    "a heading with a letter more": _in_the_heading(_insert),
    "a heading lost": _in_the_heading(lambda _text, _rng: ""),
    "a heading without its unit": _in_the_heading(
        lambda text, _rng: re.sub(r"[(\[].*?[)\]]", "", text)
    ),
    "columns in another order": _swap_columns,
    "another channel": _another_channel,
    "rows in another order": _reversed,
    "a line lost": _without_a_line,
    "a line more": _a_line_more,
    "a line twice": _twice,
    "cut off": lambda lines, rng: lines[: rng.randrange(3, max(len(lines), 4))],
    "a blank at the ends": lambda lines, _rng: [f" {line} " for line in lines],
}  # fmt: skip


def spoiled(case: Case, rng: random.Random) -> tuple[Case, str]:
    """Return a case with one to three spoils, and their names."""
    names = rng.sample(list(SPOILS), rng.choice([1, 1, 2, 3]))
    files = {}
    for name, data in case.files.items():
        lines = data.decode().rstrip("\n").split("\n")
        for spoil in names:
            lines = SPOILS[spoil](lines, rng) or [""]
        files[name] = ("\n".join(lines) + "\n").encode()
    return Case(case.kind, files, case.truth), ", ".join(names)


def _plain(case: Case) -> bool:
    """Return whether a case is of plain text and read without a settings file."""
    try:
        texts = [data.decode() for data in case.files.values()]
    except UnicodeDecodeError:
        return False
    plain = all(name.endswith((".csv", ".txt")) and "\r" not in text
                for name, text in zip(case.files, texts, strict=True))  # fmt: skip
    return plain and bool(case.truth) and not case.settings and not case.may_refuse


def run(cases: int, seed: int = 19) -> tuple[Counter[str], list[str]]:
    """Spoil and read so many cases; return what became of them, and what was silently wrong."""
    rng = random.Random(seed)  # noqa: S311 - nothing secret
    pool = [case for case in corpus(seed=seed) if _plain(case)]
    met: Counter[str] = Counter()
    silent = []
    with tempfile.TemporaryDirectory() as name:
        for number in range(cases):
            case, how = spoiled(rng.choice(pool), rng)
            what, why = wrong_numbers(case, Path(name) / str(number))
            met[what] += 1
            if what == "silent":
                shown = b"\n".join(case.files.values()).decode()
                silent.append(f"{case.kind}; {how}: {why}\n{shown}")
    return met, silent


def main() -> None:
    """Print what became of the cases, and fail if one was silently wrong."""
    met, silent = run(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000)
    for one in silent[:10]:
        print(one)
    print(dict(met))
    sys.exit(bool(silent))


if __name__ == "__main__":
    main()
