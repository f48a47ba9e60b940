"""A contributed sheet: at the reference condition, as text, signed."""

from __future__ import annotations

import csv
import io
import json
import math
import re
from typing import TYPE_CHECKING

from pullbook.pipeline.physics.constants import LBFT, TORQUE_POWER_CONSTANT
from pullbook.pipeline.physics.correction_factors import REFERENCE
from pullbook.pipeline.physics.engine_quantities import DISPLACEMENT, SIZE_FIELDS
from pullbook.pipeline.physics.reference_condition import route
from pullbook.pipeline.storage import plain_text
from pullbook.pipeline.values.sheet import SIGNATURE_FIELDS, Reading
from pullbook.schemas.field_words import unit_of, with_unit
from pullbook.schemas.fields import EXACT, FIELDS, NOMINAL, PULL_FIELDS

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from pullbook.pipeline.privacy.signatures import Signature
    from pullbook.pipeline.values.sheet import Sheet
    from pullbook.schemas.field import Value


_DIGITS = 10
#: What a reading of torque is worth at best, as a share of the highest of the pull. Common
#: practice, no source.
_WORTH = 0.001
#: How finely torque is read on a dyno, lb-ft, and the step that hides it: whole numbers and tenths
#: of lb-ft and of N.m.
_RESOLUTIONS = ((1.0, 1.0), (1 / LBFT, 1.0), (0.5, 0.5), (0.1, 0.1), (0.1 / LBFT, 0.1))
_EXACT = 1e-3
#: Kind of what is signed; see `signatures`.
KIND = "sheet"
_FENCE = "---\n"


def bring_to_reference(sheet: Sheet) -> None:
    """Bring an accepted sheet to the reference condition, in place.

    Torque becomes lb-ft at the flywheel under the reference standard, rounded to what a measurement
    is worth and never finer than it was read: exact numbers would give away the factor, and so the
    weather. Power follows from torque and is left out. Fields say from which standard, and how.
    """
    taken = route(sheet.values)
    sheet.values["stated_correction"] = sheet.values["correction"]
    sheet.values["correction"] = REFERENCE
    sheet.values["correction_route"] = NOMINAL if taken.name == "nominal" else EXACT
    torques = [
        reading.torque
        if reading.torque is not None
        else (reading.power or 0.0) * TORQUE_POWER_CONSTANT / reading.rpm
        for reading in sheet.readings
    ]
    step = _step([torque * taken.factor for torque in torques], torques)
    sheet.readings = [
        Reading(r.row, r.pull, float(round(r.rpm)), _rounded_to(step, torque * taken.factor), None)
        for r, torque in zip(sheet.readings, torques, strict=True)
    ]
    sheet.curves = None


def _step(torques: Sequence[float], read: Sequence[float]) -> float:
    """Return the step to round torque to: 1, 2 or 5 times a power of ten, lb-ft.

    Parameters
    ----------
    torques, read
        Torque at the reference condition, and as it was read, lb-ft.

    """
    worth = _WORTH * max(torques, default=1.0)
    power = 10.0 ** math.floor(math.log10(worth))
    step = max(power * times for times in (1, 2, 5) if power * times <= worth * (1 + 1e-9))
    return max(step, _resolution(read))


def _resolution(read: Sequence[float]) -> float:
    """Return how finely torque was read, rounded up to a step; 0 if to many digits."""
    for unit, step in _RESOLUTIONS:
        if all(abs(torque / unit - round(torque / unit)) < _EXACT for torque in read):
            return step
    return 0.0


def _rounded_to(step: float, torque: float) -> float:
    return float(f"{max(1, round(torque / step)) * step:.6g}")


def values_to_share(sheet: Sheet) -> dict[str, Value]:
    """Return the values that are written of a sheet: its size as bore and stroke, if known."""
    known = all(sheet.values.get(name) is not None for name in SIZE_FIELDS[:2])
    return {n: value for n, value in sheet.values.items() if not (known and n == DISPLACEMENT)}


def _format_value(value: Value) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.{_DIGITS}g}"
    return str(value)


#: A mark after which a spreadsheet would find a formula within the text.
_STARTS_CELL = re.compile(r"[,;|](?=[\s'\"]*[=+\-@])")


def yaml_scalar(value: str) -> str:
    """Return a text as a YAML scalar, in the form of a JSON string."""
    text = json.dumps(plain_text.one_line(value), ensure_ascii=False)
    return _STARTS_CELL.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def sheet_text(values: Mapping[str, Value], readings: Iterable[Reading]) -> str:
    """Return the text of a sheet file in the units of the field dictionary.

    The same content always gives the same text, so this is what is signed.
    """
    lines = [
        f"{name}: {yaml_scalar(value) if isinstance(value, str) else _format_value(value)}"
        for name in FIELDS
        if (value := values.get(name)) is not None
    ]
    readings = list(readings)
    power = any(r.power is not None for r in readings)
    rows = [["rpm", "torque", *(["power"] if power else []), "pull"]] + [
        [
            _format_value(r.rpm),
            "" if r.torque is None else _format_value(r.torque),
            *(["" if r.power is None else _format_value(r.power)] if power else []),
            str(r.pull),
        ]
        for r in readings
    ]
    return assemble(lines, rows)


def signed_text(text: str, signature: Signature) -> str:
    """Return the text of a sheet file with its signature in its first fields."""
    lines = "".join(f"{name}: {value}\n" for name, value in signature.as_fields().items())
    return f"{_FENCE}{lines}{text.removeprefix(_FENCE)}"


def without_signature(text: str) -> str:
    """Return the text that a signed sheet file was signed for, if nothing else was changed."""
    head = [f"{name}: " for name in SIGNATURE_FIELDS]
    lines = text.split("\n", len(head) + 1)
    of_signature = lines[1 : len(head) + 1]
    if len(lines) < len(head) + 2 or not all(map(str.startswith, of_signature, head)):
        return text
    return "\n".join([lines[0], lines[-1]])


def is_signed(sheet: Sheet, signature: Signature) -> bool:
    """Return whether a sheet that was read holds what its signer wrote.

    Most often the file does to the letter; line ends, spaces and such may differ.
    """
    if signature.holds(KIND, without_signature(sheet.text)):
        return True
    return signature.holds(KIND, sheet_text(values_to_share(sheet), sheet.readings))


def shown(values: Mapping[str, Value], readings: Iterable[Reading]) -> str:
    """Return what `sheet_text` writes as a person reads it: with units, and few digits."""
    lines = [
        f"{FIELDS[name].label}: {_worded(name, value)}"
        for name in FIELDS
        if (value := values.get(name)) is not None
    ]
    lines += ["", "".join(f"{head:>14}" for head in ("rpm", f"torque, {_TORQUE}", "pull"))]
    lines += [
        "".join(f"{cell:>14}" for cell in (f"{r.rpm:.0f}", _rounded(r.torque), str(r.pull)))
        for r in readings
    ]
    return "\n".join(lines)


_TORQUE = PULL_FIELDS["torque"].unit


def _worded(name: str, value: Value) -> str:
    if isinstance(value, float):
        return with_unit(name, value)
    unit = unit_of(name) if isinstance(value, int) and not isinstance(value, bool) else ""
    return f"{_format_value(value)} {unit}".rstrip()


def _rounded(number: float | None) -> str:
    return "" if number is None else f"{number:.6g}"


def assemble(lines: list[str], rows: list[list[str]]) -> str:
    """Return the text of a sheet file from its lines of fields and the rows of its table."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return "\n".join(["---", *lines, "---", out.getvalue()])
