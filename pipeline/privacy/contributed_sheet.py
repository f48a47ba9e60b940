"""The text of a contributed sheet, in the units and names of the field dictionary."""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING

from pullbook.schemas.field_words import unit_of, with_unit
from pullbook.schemas.fields import FIELDS, PULL_FIELDS

if TYPE_CHECKING:
    from pullbook.pipeline.values.sheet import Reading
    from pullbook.schemas.field import Value


_DIGITS = 10


def _format_value(value: Value) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.{_DIGITS}g}"
    return str(value)


def yaml_scalar(value: str) -> str:
    """Return a text as a YAML scalar, in the form of a JSON string."""
    return json.dumps(value, ensure_ascii=False)


def sheet_text(values: dict[str, Value], readings: list[Reading]) -> str:
    """Return the text of a sheet file in the units of the field dictionary."""
    known = [(name, values.get(name)) for name in FIELDS]
    lines = [
        f"{name}: {yaml_scalar(value) if isinstance(value, str) else _format_value(value)}"
        for name, value in known
        if value is not None
    ]
    rows = [["rpm", "torque", "power", "pull"]] + [
        [
            _format_value(r.rpm),
            "" if r.torque is None else _format_value(r.torque),
            "" if r.power is None else _format_value(r.power),
            str(r.pull),
        ]
        for r in readings
    ]
    return assemble(lines, rows)


def shown(values: dict[str, Value], readings: list[Reading]) -> str:
    """Return what `sheet_text` writes as a person reads it: with units, and few digits."""
    lines = [
        f"{FIELDS[name].label}: {_worded(name, value)}"
        for name in FIELDS
        if (value := values.get(name)) is not None
    ]
    heads = [f"{name}, {PULL_FIELDS[name].unit}" for name in ("torque", "power")]
    lines += ["", "".join(f"{head:>14}" for head in ("rpm", *heads, "pull"))]
    lines += [
        "".join(
            f"{cell:>14}"
            for cell in (f"{r.rpm:.0f}", _rounded(r.torque), _rounded(r.power), str(r.pull))
        )
        for r in readings
    ]
    return "\n".join(lines)


def _worded(name: str, value: Value) -> str:
    if isinstance(value, float):
        return with_unit(name, value)
    unit = unit_of(name) if isinstance(value, int) and not isinstance(value, bool) else ""
    return f"{_format_value(value)} {unit}".rstrip()


def _rounded(number: float | None) -> str:
    return "" if number is None else f"{number:.1f}"


def assemble(lines: list[str], rows: list[list[str]]) -> str:
    """Return the text of a sheet file from its lines of fields and the rows of its table."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return "\n".join(["---", *lines, "---", out.getvalue()])
