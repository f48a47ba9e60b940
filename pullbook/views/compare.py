"""Compare: up to four builds or measured engines, which makes more, and what makes it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl

from pullbook.drawings import comparison_drawing
from pullbook.schemas.errors import InputError
from pullbook.schemas.part_groups import GROUPS
from pullbook.tasks import questions
from pullbook.text import comparison_text, prediction_text
from pullbook.view_parts import asked, parameters, rendering
from pullbook.view_parts.rendering import Figure, desk_of
from pullbook.words import figures, share_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from starlette.requests import Request
    from starlette.responses import Response

    from pullbook.model.comparison.compare_several import Comparison
    from pullbook.model.comparison.difference import Difference
    from pullbook.view_parts.asked import Named
    from pullbook.view_parts.parameters import Parameters
    from pullbook.view_parts.rendering import Desk
    from pullbook.words.units import Units

SLOTS = ("a", "b", "c", "d")


@dataclass(frozen=True, slots=True)
class Slot:
    """One build of the form: its name, its fields where it is not saved, and its fault."""

    letter: str
    name: str
    query: str
    fault: str = ""
    edit: str = ""

    @property
    def upper(self) -> str:
        """The letter as the chart has it."""
        return self.letter.upper()


@dataclass(frozen=True, slots=True)
class Shown:
    """A comparison as the page shows it."""

    found: Comparison
    figure: Figure
    units: Units
    warning: str

    @property
    def before(self) -> list[str]:
        """What is compared, and what is doubtful about it."""
        found = self.found
        said = [comparison_text.assumed(found), *comparison_text.comparable(found)]
        return [*said, *comparison_text.doubts(found), *([self.warning] if self.warning else [])]

    @property
    def headings(self) -> list[str]:
        """The headings of the table of builds."""
        return comparison_text.headings(self.found, self.units)

    @property
    def rows(self) -> list[list[str]]:
        """The builds with their means and chances."""
        found = comparison_text.rows(self.found, self.units)
        return [[f"{'ABCD'[at]}  {row[0]}", *row[1:]] for at, row in enumerate(found)]

    @property
    def pairs(self) -> list[tuple[str, list[str], list[str], list[list[str]]]]:
        """Each difference: its title, its verdict, its headings and its rows."""
        return [self._pair(one, "BCD"[at]) for at, one in enumerate(self.found.differences)]

    def _pair(self, one: Difference, letter: str) -> tuple[str, list[str], list[str],
                                                           list[list[str]]]:  # fmt: skip
        percent = f"{figures.level(one.level)} limits"
        sure = not self._outside(one)
        rows = [
            [*row[:3], row[3] if sure else ""]
            for row in comparison_text.curve(one, self.units)
            if row[1]
        ]
        lines = [comparison_text.verdict(one, letter),
                 *comparison_text.means(one, letter, self.units),
                 *comparison_text.crossings(one)]  # fmt: skip
        title = f"{one.names[0]} (A) minus {one.names[1]} ({letter})"
        heads = ["rpm", f"A minus {letter}, {self.units.torque}", percent, "chance of A"]
        return title, lines, heads, rows

    @staticmethod
    def _outside(one: Difference) -> bool:
        return any(standing.value == "outside" for standing in one.standings)

    @property
    def shares(self) -> tuple[str, list[list[str]]] | None:
        """What makes the difference of two, part by part."""
        if self.found.shares is None:
            return None
        rows = share_words.rows(self.found, self.units)
        return share_words.title(self.found), rows

    @property
    def share_headings(self) -> list[str]:
        """The headings of the table of shares."""
        level = 0.0 if self.found.shares is None else self.found.shares.level
        return ["what", f"share, {self.units.torque}", f"{figures.level(level)} limits"]

    @property
    def notes(self) -> list[str]:
        """What a clear difference and a chance are, and what a share means."""
        return [*comparison_text.notes(self.found), *share_words.meaning(self.found)]


def view(request: Request) -> Response:
    """Show the form and, where two builds or more are named, how they differ."""
    desk = desk_of(request)
    asked_for = parameters.read(request.query_params)
    same = [one for one in request.query_params.getlist("same") if one in GROUPS]
    slots, named = _slots(desk, asked_for)
    shown, fault = None, ""
    if len(named) > 1 and not any(slot.fault for slot in slots):
        try:
            shown = compare(desk, named, asked_for, same)
        except InputError as found:
            fault = figures.sentence(str(found))
    return rendering.page(
        request, "compare", title="Compare", units=asked_for.units, asked=asked_for, slots=slots,
        faults=asked_for.faults, levels=parameters.LEVELS, groups=list(GROUPS), same=same,
        shown=shown, fault=fault, known=asked.known(desk), few=len(named) < 2,
        caution=prediction_text.CAUTION,
    )  # fmt: skip


def _slots(desk: Desk, asked_for: Parameters) -> tuple[list[Slot], list[Named]]:
    slots, named = [], []
    for letter in SLOTS:
        name = asked_for.given.get(letter, "").strip()
        query = asked_for.given.get(f"{letter}_is", "") if name else ""
        fault = ""
        if name:
            try:
                named.append(asked.find(desk, name, query))
            except InputError as found:
                fault = figures.sentence(str(found))
        given = dict(parse_qsl(query))
        edit = rendering.query(given) if query else ""
        slots.append(Slot(letter, name, query, fault, edit))
    return slots, _apart(named)


def _apart(named: Sequence[Named]) -> list[Named]:
    """Return builds with different names: where two have one name, their letters are added."""
    names = [one.build.sheet_id for one in named]
    return [
        one
        if names.count(name) == 1
        else replace(one, build=replace(one.build, sheet_id=f"{name} ({'ABCD'[at]})"))
        for at, (one, name) in enumerate(zip(named, names, strict=True))
    ]


def compare(
    desk: Desk, named: Sequence[Named], asked_for: Parameters, same: Sequence[str]
) -> Shown:
    """Return a comparison of builds, as `pullbook compare` makes it.

    Raises
    ------
    InputError
        They cannot be compared.

    """
    from pullbook.model.answers import compared_sides
    from pullbook.model.comparison import tested_band
    from pullbook.model.range.tested_speeds import speeds_of

    predictor = desk.model.predictor()
    predicted = asked_for.given.get("predicted") == "yes"
    one_shop = asked_for.given.get("dynos") != "two"
    tests = asked.tests_for(desk, named)
    given = questions.must_be_sound(asked.ask(predictor, named, tests))
    pulls = [None if predicted else one.pull for one in named]
    sides = compared_sides.sides(predictor, *given, pulls, same)
    warning = tested_band.check_band(sides.found, asked_for.band) or ""
    band = asked_for.band
    found = sides.compare(predictor, band, asked_for.level, one_shop=one_shop)
    first = found.differences[0].rpm
    fine = speeds_of(float(first[0]), float(first[-1]), 50.0)
    drawn = predictor.compare(
        sides.found, band, asked_for.level, fine, one_shop=one_shop, beside=sides.before
    )
    chart = comparison_drawing.of_differences(
        sides.found, drawn.differences, asked_for.units, found.shares,
        made_same=found.before is not None,
    )  # fmt: skip
    return Shown(found, Figure(chart), asked_for.units, warning)
