"""What a search may change: groups of parts, or fields, with the range or the choices of each."""

from __future__ import annotations

import math
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

from pullbook.pipeline.builds import field_ranges
from pullbook.pipeline.builds.same_parts import fields_of
from pullbook.schemas.errors import InputError, did_you_mean
from pullbook.schemas.field import Kind
from pullbook.schemas.fields import FIELDS
from pullbook.schemas.part_groups import GROUPS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd

#: The fields that lead when a group of parts is set free; others of the group follow them.
LEADING: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "camshaft": ("intake_duration", "lobe_separation"),
        "heads": ("intake_flow", "port_csa"),
        "intake": ("intake_type", "airflow"),
        "exhaust": ("exhaust_type",),
        "size": ("bore", "stroke"),
        "compression": ("compression_ratio",),
        "fuel": ("octane", "timing"),
    }
)
#: What moves with a field as parts are made (common practice, no source); by how much is learned
#: from the tested builds.
FOLLOWS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "intake_duration": (
            "exhaust_duration", "intake_duration_seat", "exhaust_duration_seat", "intake_lift",
            "exhaust_lift",
        ),
        "lobe_separation": ("intake_centerline",),
        "intake_flow": ("exhaust_flow", "intake_valve", "exhaust_valve"),
        "port_csa": ("port_volume",),
        "intake_type": ("runner_length",),
        "exhaust_type": ("primary_diameter", "primary_length"),
    }
)  # fmt: skip
#: The share of the tested builds that is left out at each end of a range nobody named.
_TAIL = 0.02
#: Fields are given in steps of parts as sold: by unit, else a hundredth of the range.
_STEP = MappingProxyType(
    {"crank deg": 1.0, "cam deg": 0.5, "cfm": 5.0, "in": 0.005, "in2": 0.01, "in3": 1.0, "cc": 1.0,
     ":1": 0.1, "AKI": 1.0}
)  # fmt: skip
#: A range ends on a step if it is off by no more than this share of one.
_CLOSE = 1e-6
_FEWEST = 12
MOST = 5


class FreeFieldsError(InputError):
    """What is to be free cannot be; the message says why."""


@dataclass(frozen=True, slots=True)
class Free:
    """A field that a search may change: its range and step, or its choices."""

    name: str
    low: float = 0.0
    high: float = 0.0
    step: float = 0.0
    choices: tuple[str, ...] = ()

    @property
    def searched(self) -> list[float] | list[str]:
        """The lowest and the highest value, or the choices."""
        return list(self.choices) or [self.low, self.high]

    def at(self, share: float) -> float | str:
        """Return the value at a share of the range, 0 to 1, on a whole step."""
        if self.choices:
            return self.choices[min(int(share * len(self.choices)), len(self.choices) - 1)]
        value = round((self.low + share * (self.high - self.low)) / self.step) * self.step
        return round(min(max(value, self.low), self.high), 6)

    def share(self, value: float | str) -> float:
        """Return where a value is in the range, 0 to 1; a choice in the middle of its part."""
        if isinstance(value, str):
            return (self.choices.index(value) + 0.5) / len(self.choices)
        return 0.5 if self.high == self.low else (value - self.low) / (self.high - self.low)


def free_fields(given: Sequence[str], tested: pd.DataFrame) -> list[Free]:
    """Return the fields that ``camshaft``, ``field``, ``field=low:high`` or ``field=a,b`` set free.

    Parameters
    ----------
    given
        The texts, each of one group or field.
    tested
        The tested builds, which give the range of a field that names none.

    Raises
    ------
    FreeFieldsError, SamePartsError, FieldRangesError
        A name is no group and no field, a field cannot be searched, was never tested, or its range
        is none.

    """
    found: dict[str, Free] = {}
    for text in given:
        name, _, values = text.partition("=")
        group = " ".join(name.casefold().replace("_", " ").replace("-", " ").split())
        names = LEADING.get(group) or tuple(fields_of([name]))
        if group in GROUPS and group not in LEADING:
            msg = f"{group} cannot be searched as a whole; name one of its fields"
            raise FreeFieldsError(msg)
        if values and len(names) > 1:
            msg = f"{group} is a group of parts; give a range to one field, such as {names[0]}"
            raise FreeFieldsError(msg)
        for one in names:
            found[one] = _free(one, values.strip(), tested)
    if not 0 < len(found) <= MOST:
        msg = f"{len(found)} fields are to be free ({', '.join(found)}); {MOST} is the most"
        raise FreeFieldsError(msg)
    return list(found.values())


def _free(name: str, values: str, tested: pd.DataFrame) -> Free:
    field = FIELDS[name]
    spoken = name.replace("_", " ")
    own = tested[name].dropna() if name in tested else tested.iloc[:0, 0]
    if field.kind is Kind.CHOICE:
        counts = own.value_counts()
        chosen = [one.strip() for one in values.split(",") if one.strip()] or list(counts.index)
        wrong = [one for one in chosen if one not in field.choices]
        if wrong or not chosen:
            near = did_you_mean(wrong[0], field.choices) if wrong else ""
            msg = f"{spoken} can be {', '.join(field.choices)}.{near}"
            raise FreeFieldsError(msg)
        return Free(name, choices=tuple(dict.fromkeys(chosen)))
    if not field.numeric or field.kind is Kind.FLAG:
        msg = f"{spoken} cannot be searched: it is neither a number nor a choice"
        raise FreeFieldsError(msg)
    if values:
        low, high = field_ranges.span(name, values)
    elif len(own) >= _FEWEST:
        low, high = (float(own.quantile(share)) for share in (_TAIL, 1 - _TAIL))
    else:
        msg = f"{spoken} is on {len(own)} of the tested builds, too few for a range; give one"
        raise FreeFieldsError(msg)
    step = _STEP.get(field.unit) or max(round((high - low) / 100, 3), 0.001)
    step = 1.0 if field.kind is Kind.WHOLE else step
    return Free(name, low, high, step) if values else _on_steps(name, low, high, step)


def _on_steps(name: str, low: float, high: float, step: float) -> Free:
    """Return a range that nobody named, drawn in to whole steps."""
    first, last = math.ceil(low / step - _CLOSE), math.floor(high / step + _CLOSE)
    if last <= first:
        return Free(name, low, high, step)
    return Free(name, round(first * step, 6), round(last * step, 6), step)


class Followers:
    """How fields follow those that are set free, as parts in the tested builds do.

    Parameters
    ----------
    free
        The fields that are set free; none of them follows another.
    tested
        The tested builds.

    """

    def __init__(self, free: Sequence[Free], tested: pd.DataFrame) -> None:
        leaders = {one.name for one in free}
        self.by_number: dict[str, dict[str, float]] = {}
        self.by_choice: dict[str, dict[str, dict[str, float]]] = {}
        for one in free:
            names = [name for name in FOLLOWS.get(one.name, ()) if name not in leaders]
            names = [name for name in names if name in tested]
            if one.choices:
                self.by_choice[one.name] = {
                    name: {
                        str(choice): float(median)
                        for choice, median in tested.groupby(one.name, observed=True)[name]
                        .median()
                        .dropna()
                        .items()
                    }
                    for name in names
                }
            else:
                slopes = {name: _slope(tested, one.name, name) for name in names}
                self.by_number[one.name] = {n: s for n, s in slopes.items() if s is not None}

    def moved(
        self, base: Mapping[str, object], values: Mapping[str, float | str]
    ) -> dict[str, float | None]:
        """Return the fields that move along, as far as the build gives them.

        A part of another kind brings the usual size of its kind; where none was tested, none.
        """
        found: dict[str, float | None] = {}
        for name, value in values.items():
            own = base.get(name)
            for other, by_choice in self.by_choice.get(name, {}).items():
                if base.get(other) is not None and value != own:
                    found[other] = by_choice.get(str(value))
            for other, slope in self.by_number.get(name, {}).items():
                here = base.get(other)
                if isinstance(here, int | float) and isinstance(own, int | float):
                    step = _STEP.get(FIELDS[other].unit, 0.001)
                    moved = here + slope * (float(value) - own)
                    found[other] = round(round(moved / step) * step, 6)
        return found


def _slope(tested: pd.DataFrame, leading: str, name: str) -> float | None:
    """Return by how much a field moves for each unit of another, by least squares."""
    both = tested[[leading, name]].dropna().astype(float)
    spread = float(both[leading].var()) if len(both) >= _FEWEST else 0.0
    if not spread > 0:
        return None
    return float(both[leading].cov(both[name])) / spread
