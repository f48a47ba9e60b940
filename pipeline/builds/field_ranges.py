"""What a user asks to be varied: ranges of fields, and fields that move with them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pullbook.pipeline.builds.build_template import EXAMPLES
from pullbook.pipeline.values import cells
from pullbook.pipeline.vocabulary import numerals
from pullbook.schemas.errors import InputError, did_you_mean
from pullbook.schemas.field import Kind
from pullbook.schemas.field_words import METRIC
from pullbook.schemas.fields import BUILD_FIELDS, FIELDS

if TYPE_CHECKING:
    from collections.abc import Sequence


class FieldRangesError(InputError):
    """Ranges that name no field of a build, or no values of it."""


_MOST_VALUES = 100


_MOST_FIELDS = 2


def ranges(given: Sequence[str]) -> dict[str, list[Any]]:
    """Return the values that ``field=low:high:step`` or ``field=one,another`` mean, by field.

    Raises
    ------
    FieldRangesError
        A field does not exist, is not part of a build, or its values make no sense.

    """
    if not 0 < len(given) <= _MOST_FIELDS:
        msg = "name one or two fields to vary, as --field intake_duration=204:246:6"
        raise FieldRangesError(msg)
    found: dict[str, list[Any]] = {}
    for text in given:
        name, _, values = text.partition("=")
        name = name.strip().replace(" ", "_").replace("-", "_").casefold()
        field = _field(name)
        if name in found:
            msg = f"{name} is named twice"
            raise FieldRangesError(msg)
        if field.kind is Kind.CHOICE:
            found[name] = _choices(name, values)
        else:
            found[name] = _numbers(name, values)
        found[name] = list(dict.fromkeys(found[name]))  # each once
    return found


def _field(name: str) -> Any:
    if name not in BUILD_FIELDS:
        near = did_you_mean(name, BUILD_FIELDS) or f" Fields are {', '.join(BUILD_FIELDS)}."
        msg = f"{name!r} is not a field of a build.{near}"
        raise FieldRangesError(msg)
    if FIELDS[name].kind not in (Kind.CHOICE, Kind.WHOLE, Kind.NUMBER):
        msg = f"{name} cannot be varied: it is neither a number nor a choice"
        raise FieldRangesError(msg)
    return FIELDS[name]


def _choices(name: str, text: str) -> list[str]:
    allowed = FIELDS[name].choices
    found = [part.strip() for part in text.split(",") if part.strip()]
    wrong = [part for part in found if part not in allowed]
    if wrong or not found:
        near = did_you_mean(wrong[0], allowed) if wrong else ""
        msg = f"{name} can be {', '.join(allowed)}; {text!r} is not a list of these.{near}"
        raise FieldRangesError(msg)
    return found


def _numbers(name: str, text: str) -> list[float]:
    parts = [part.strip() for part in text.replace(":", ",").split(",")]
    if not all(parts) or (":" in text and len(parts) != 3):
        usual = EXAMPLES.get(name, "1")
        msg = (
            f"{name}={text} is neither low:high:step nor a list of numbers. Write {name}=1:3:0.5 or"
            f" {name}=1,2,3; {FIELDS[name].label} is {FIELDS[name].allowed}, usually about {usual}"
        )
        raise FieldRangesError(msg)
    unit, numbers = _in_one_unit(name, parts)
    if ":" in text:
        low, high, step = numbers
        if unit:  # a step has no zero of its own: 5 degC is 9 degF
            step -= _number(name, "0", unit)
        numbers = _steps(name, text, low, high, step)
    for number in (min(numbers), max(numbers)):
        _check_range(name, text, number, unit)
    return numbers


def span(name: str, text: str) -> tuple[float, float]:
    """Return the lowest and the highest value that ``low:high`` means for a field.

    >>> span("intake_valve", "48:51mm")
    (1.889764, 2.007874)

    Raises
    ------
    FieldRangesError
        It is no such range, or the field cannot have such values.

    """
    parts = [part.strip() for part in text.split(":")]
    unit, numbers = _in_one_unit(name, parts) if len(parts) == 2 and all(parts) else (None, [])
    if len(numbers) != 2 or not numbers[0] < numbers[1]:
        msg = (
            f"{name}={text} is not low:high. {FIELDS[name].title} is {FIELDS[name].allowed},"
            f" usually about {EXAMPLES.get(name, '1')}"
        )
        raise FieldRangesError(msg)
    for number in numbers:
        _check_range(name, text, number, unit)
    return numbers[0], numbers[1]


def _in_one_unit(name: str, parts: Sequence[str]) -> tuple[str | None, list[float]]:
    """Return the unit that the last of the parts with one names, and the numbers in ours."""
    unit = next((found for part in reversed(parts) if (found := _unit_of(part))), None)
    return unit, [_number(name, part, unit) for part in parts]


def _check_range(name: str, text: str, number: float, unit: str | None) -> None:
    """Raise if a field cannot have a number; one without a unit may have been meant in another."""
    field = FIELDS[name]
    if (field.low is None or number >= field.low) and (field.high is None or number <= field.high):
        return
    metric = METRIC.get(field.unit)
    other = (
        f" To give it in {metric[0]}, write the unit behind the last number."
        if unit is None and metric
        else ""
    )
    msg = f"{name}={text} is out of range. {field.title} is {field.allowed}.{other}"
    raise FieldRangesError(msg)


def _steps(name: str, text: str, low: float, high: float, step: float) -> list[float]:
    """Return the numbers from low to high, a step apart."""
    if not (step > 0 and low <= high and (high - low) / step < _MOST_VALUES):
        msg = f"{name}={text} must rise in at most {_MOST_VALUES} steps"
        raise FieldRangesError(msg)
    count = int((high - low) / step + 1e-9) + 1
    return [round(low + step * at, 6) for at in range(count)]


def _unit_of(text: str) -> str:
    found = numerals.read(text, None)
    return "" if found is None else found.rest.strip()


def _number(name: str, text: str, unit: str | None) -> float:
    """Return a number in the field's unit; one without a unit has that of the others."""
    try:
        value = cells.parse(text, FIELDS[name], unit, mark=".").value
    except cells.CellError as error:
        raise FieldRangesError(str(error)) from None
    if not isinstance(value, int | float):
        msg = (
            f"{FIELDS[name].title} is {text!r}, which is not a number. Write {FIELDS[name].allowed}"
        )
        raise FieldRangesError(msg)
    return value if isinstance(value, int) else round(float(value), 6)


def ties(given: Sequence[str], leading: str) -> dict[str, float]:
    """Return by how much each tied field moves for each unit of the one that is varied.

    Raises
    ------
    FieldRangesError
        A field does not exist, is no number, or moves in another unit by an unnamed amount.

    """
    found = {}
    for text in given:
        name, _, share = text.partition("=")
        name = name.strip().replace(" ", "_").replace("-", "_").casefold()
        field = _field(name)
        if not field.numeric or not FIELDS[leading].numeric:
            msg = f"{name} cannot move with {leading}: one of the two is not a number"
            raise FieldRangesError(msg)
        if not share and field.unit != FIELDS[leading].unit:
            msg = (
                f"{name} is not in the unit of {leading}; say by how much it moves for each of it,"
                f" as --tie {name}=0.01"
            )
            raise FieldRangesError(msg)
        if name in found:
            msg = f"--tie names {name} twice"
            raise FieldRangesError(msg)
        try:
            found[name] = float(share) if share else 1.0
        except ValueError:
            msg = f"--tie {text}: {share!r} is not a number"
            raise FieldRangesError(msg) from None
    return found
