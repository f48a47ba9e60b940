"""Read a load as a person writes it: ``propeller 150 hp @ 4000``, or a small csv table."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

from pullbook.pipeline.files.text_file import UnreadableError
from pullbook.pipeline.physics.constants import TORQUE_POWER_CONSTANT
from pullbook.pipeline.reading.tables import csv_table
from pullbook.pipeline.values import cells
from pullbook.pipeline.vocabulary import numerals, units
from pullbook.pipeline.vocabulary.headings import PLAIN, Named
from pullbook.schemas.errors import InputError, did_you_mean, must_exist
from pullbook.schemas.fields import PULL_FIELDS
from pullbook.schemas.on_request import PROPELLER, TABLE, TOWING, Load

EXAMPLES = '"propeller 150 hp @ 4000", "towing 220 lb-ft @ 1800:3200" or a .csv table'
_WORDS = re.compile(
    r"(?P<kind>[^\W\d_]+)\s+(?P<number>[\d.,]+)\s*(?P<unit>[^\d\s@][^@]*?)?\s*"
    r"(?:(?:@|\bat\b|\bfrom\b)\s*(?P<speeds>[^@]*))?"
)
#: How the name of a table ends.
TABLES = ".csv"
_FASTEST = 25_000.0
_MOST_ROWS = 1000


class LoadError(InputError):
    """A load that cannot be used; the message says what is wrong and what to write."""


def read(text: str) -> Load:
    """Return the load that a text means: words, or the path of a csv table.

    Raises
    ------
    LoadError
        It is none.

    """
    if text.strip().casefold().endswith(TABLES):
        return _table(Path(text.strip()))
    return in_words(text, EXAMPLES)


def in_words(text: str, examples: str) -> Load:
    """Return the load that words mean; ``examples`` are what a message says to write.

    Raises
    ------
    LoadError
        It is none.

    """
    found = _WORDS.fullmatch(text.strip())
    if found is None:
        msg = f"the load is {text!r}; write {examples}"
        raise LoadError(msg)
    kind = found["kind"].casefold()
    if kind not in (PROPELLER, TOWING):
        near = did_you_mean(kind, (PROPELLER, TOWING))
        msg = f"{found['kind']!r} is no kind of load; write {examples}.{near}"
        raise LoadError(msg)
    speeds = _speeds(found["speeds"], text, band=kind == TOWING)
    name, value = _quantity(found["number"], found["unit"], text, examples)
    if kind == TOWING:
        if name == "power":
            msg = f"the load is {text!r}; a tow is torque, such as towing 220 lb-ft @ 1800:3200"
            raise LoadError(msg)
        return Load(TOWING, speeds, (value, value))
    torque = value * TORQUE_POWER_CONSTANT / speeds[0] if name == "power" else value
    return Load(PROPELLER, speeds, (torque,), by_power=name == "power")


def beside(text: str, path: Path) -> Load:
    """Return the load that a text in a file means; a table must lie beside that file.

    A file that came from elsewhere does not say which other files are read.

    Raises
    ------
    LoadError
        It is none.

    """
    name = text.strip()
    if not name.casefold().endswith(TABLES):
        return read(name)
    if any(sign in name for sign in "/\\:"):
        msg = (
            f"the load {name!r} must lie beside {path.name}; copy it there and write its name alone"
        )
        raise LoadError(msg)
    return read(str(path.parent / name))


def _quantity(number: str, unit: str | None, text: str, examples: str) -> tuple[str, float]:
    """Return whether a number with its unit is torque or power, and its value in our unit."""
    for name in ("torque", "power"):
        if unit and units.known(unit, PULL_FIELDS[name].unit):
            return name, _number(f"{number} {unit}", name, f"the load {text!r}")
    says = f"{unit!r} is neither torque nor power" if unit else "the number has no unit"
    msg = f"the load is {text!r}: {says}; write {examples}"
    raise LoadError(msg)


def _number(text: str, name: str, where: str, unit: str | None = None) -> float:
    field = PULL_FIELDS[name]
    try:
        value = cells.parse(text, field, unit).value
    except cells.CellError as error:
        msg = f"{where}: {error}"
        raise LoadError(msg) from None
    low, high = field.low or 0.0, field.high or _FASTEST
    if not isinstance(value, int | float) or not low <= value <= high:
        msg = f"{where}: {field.label} is {text!r}; write {field.allowed}"
        raise LoadError(msg)
    return float(value)


def _speeds(text: str | None, whole: str, *, band: bool) -> tuple[float, ...]:
    """Return the engine speed of a propeller, or both ends of the band of a tow."""
    parts = re.sub(r"rpm\s*$", "", text or "", flags=re.IGNORECASE).strip().split(":")
    numbers = [numerals.plain(part.strip()) for part in parts]
    known = tuple(one for one in numbers if one is not None and 0 < one < _FASTEST)
    if len(known) == len(parts) == (2 if band else 1) and all(a < b for a, b in pairwise(known)):
        return known
    wanted = "engine speeds as low:high, such as @ 1800:3200" if band else (
        "one engine speed, such as @ 4000")  # fmt: skip
    msg = f"the load is {whole!r}; name {wanted}"
    raise LoadError(msg)


def _table(path: Path) -> Load:
    """Return the load that a csv table gives: a column rpm, and one of torque or power."""
    must_exist(path)
    try:
        rows, _ = csv_table(path, PLAIN.pull)
    except UnreadableError as error:
        raise LoadError(str(error)) from error
    if not 2 < len(rows) <= _MOST_ROWS:
        msg = f"{path} holds {len(rows)} rows; a load is headings and two rows or more"
        raise LoadError(msg)
    (_, heads), *lines = rows
    named = [PLAIN.pull(head) for head in heads]
    speed, height = _columns(named, path)
    points = {}
    for row, line in lines:
        where = f"{path}, row {row}"
        rpm, value = (_cell(line, named[at], at, where) for at in (speed, height))
        if rpm in points:
            msg = f"{where}: {rpm:g} rpm occurs twice; keep one row"
            raise LoadError(msg)
        by_power = named[height].field == "power"
        points[rpm] = value * TORQUE_POWER_CONSTANT / rpm if by_power else value
    speeds = tuple(sorted(points))
    return Load(
        TABLE, speeds, tuple(points[rpm] for rpm in speeds),
        by_power=named[height].field == "power", source=path.name,
    )  # fmt: skip


def _columns(named: list[Named], path: Path) -> tuple[int, int]:
    """Return the places of the columns of speed and of torque or power."""
    fields = [one.field for one in named]
    heights = [at for at, field in enumerate(fields) if field in ("torque", "power")]
    if fields.count("rpm") != 1 or len(heights) != 1:
        msg = f"{path} needs one column rpm and one of torque or power, such as rpm,torque (lb-ft)"
        raise LoadError(msg)
    if named[heights[0]].unit is None:
        field = fields[heights[0]]
        unit = "torque (lb-ft)" if field == "torque" else "power (hp)"
        msg = f"{path} names no unit of {field}; write it in the heading, such as {unit}"
        raise LoadError(msg)
    return fields.index("rpm"), heights[0]


def _cell(line: list[str], named: Named, at: int, where: str) -> float:
    text = line[at].strip() if at < len(line) else ""
    if not text:
        msg = f"{where}: {named.field} is empty"
        raise LoadError(msg)
    return _number(text, str(named.field), where, named.unit) * named.factor
