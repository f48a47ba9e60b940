"""Which tests of a list are wanted: by words, family, size, cam, date and what became of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pullbook.workspace.measured_tests import Test

#: Parameters of an address that are ranges, and the number each is of.
_RANGES = {"size": "displacement", "cam": "intake_duration"}
_WORDS = ("q", "family", "state", "date_low", "date_high")


@dataclass(frozen=True, slots=True)
class ListFilter:
    """What is asked for; what is empty takes every test.

    Attributes
    ----------
    given
        The parameters of the address, as typed.
    ranges
        Lowest and highest of size, in in3, and cam, in degrees.
    faults
        What is no number, by parameter.
    """

    given: Mapping[str, str]
    ranges: Mapping[str, tuple[float, float]]
    faults: tuple[str, ...]

    def takes(self, test: Test) -> bool:
        """Return whether a test is wanted."""
        if not self.given:
            return True
        sheet = test.sheet
        words = self.given.get("q", "").casefold().split()
        date = str(sheet.values.get("tested_on") or "")
        low, high = self.given.get("date_low", ""), self.given.get("date_high", "")
        return (
            all(word in test.words for word in words)
            and self._is(str(sheet.values.get("family") or ""), "family")
            and self._is(str(test.state), "state")
            and (not (low or high) or (bool(date) and low <= date[: len(high or date)]))
            and (not high or (bool(date) and date[: len(high)] <= high))
            and all(self._within(test, name) for name in self.ranges)
        )

    def _is(self, value: str, name: str) -> bool:
        wanted = self.given.get(name, "")
        return not wanted or value == wanted

    def _within(self, test: Test, name: str) -> bool:
        sheet = test.sheet
        number = sheet.displacement if name == "size" else sheet.number(_RANGES[name])
        low, high = self.ranges[name]
        return number is not None and low <= number <= high


def read(given: Mapping[str, str]) -> ListFilter:
    """Return what an address asks for."""
    names = [*_WORDS, *(f"{name}_{end}" for name in _RANGES for end in ("low", "high"))]
    kept = {name: given[name].strip() for name in names if given.get(name, "").strip()}
    ranges, faults = {}, []
    for name in _RANGES:
        ends = [kept.get(f"{name}_low"), kept.get(f"{name}_high")]
        try:
            numbers = [
                float(text) if text else usual
                for text, usual in zip(ends, (float("-inf"), float("inf")), strict=True)
            ]
        except ValueError:
            faults.append(name)
            continue
        if any(ends):
            ranges[name] = (numbers[0], numbers[1])
    return ListFilter(kept, ranges, tuple(faults))
