"""Choose: which cam, head or intake for a goal, by a search of what was tested."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pullbook.drawings import comparison_drawing
from pullbook.pipeline.builds import free_fields
from pullbook.pipeline.builds.parts import BANDS
from pullbook.schemas.errors import InputError
from pullbook.tasks import searching
from pullbook.text import search_text
from pullbook.view_parts import asked, free_form, parameters, rendering
from pullbook.view_parts.asked import Named
from pullbook.view_parts.rendering import Figure, desk_of
from pullbook.words import figures
from pullbook.workspace import build_fields

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from pullbook.model.choices.search_result import Search
    from pullbook.view_parts.free_form import Wanted
    from pullbook.view_parts.parameters import Parameters
    from pullbook.view_parts.rendering import Desk
    from pullbook.words.units import Units


@dataclass(frozen=True, slots=True)
class Shown:
    """What a search found, as the page shows it.

    Attributes
    ----------
    best, own
        The best build and the build as it is, as addresses under Ask have them.
    """

    found: Search
    figure: Figure
    units: Units
    best: dict[str, str]
    own: dict[str, str]

    @property
    def title(self) -> str:
        """What was searched for."""
        return f"{self.found.base.build.sheet_id}: {search_text.highest(self.found.goal)}"

    @property
    def lines(self) -> list[str]:
        """The best build, and what it gains."""
        return search_text.first(self.found, self.units)

    @property
    def headings(self) -> list[str]:
        """The headings of the table."""
        return search_text.headings(self.found, self.units)

    @property
    def rows(self) -> list[list[str]]:
        """The best, those as good, and the build as it is."""
        return search_text.builds(self.found, self.units)

    @property
    def others(self) -> list[str]:
        """What the others as good are."""
        return search_text.alternatives(self.found, self.units)

    @property
    def worth(self) -> list[str]:
        """What each field is worth."""
        return search_text.worth(self.found, self.units)

    @property
    def notes(self) -> list[str]:
        """What is outside the data, and what was done."""
        return search_text.notes(self.found, self.units)


def view(request: Request) -> Response:
    """Show the form and, where it says enough, what was found."""
    desk = desk_of(request)
    asked_for = parameters.read(request.query_params)
    wanted = free_form.read(request.query_params, asked_for)
    name = asked_for.given.get("build", "").strip()
    query = asked_for.given.get("build_is", "") if name else ""
    shown, fault, faults = None, "", dict(wanted.faults)
    if name:
        try:
            named = _start(desk, name, query)
            if not faults:
                shown = search(desk, named, wanted, asked_for)
        except asked.NotFoundError as found:
            faults["build"] = figures.sentence(str(found))
        except InputError as found:
            fault = figures.sentence(str(found))
    elif wanted.begun:
        faults["build"] = "Name the build or the test that this is about."
    return rendering.page(
        request, "choose", title="Choose", units=asked_for.units, asked=asked_for, wanted=wanted,
        name=name, query_of=query, known=asked.known(desk), groups=list(free_fields.LEADING),
        goals=free_form.GOALS, fields=free_form.FIELDS_TO_FREE, bands=BANDS, shown=shown,
        fault=fault, faults=faults, levels=parameters.LEVELS, most=free_fields.MOST,
    )  # fmt: skip


def _start(desk: Desk, name: str, query: str) -> Named:
    """Return the build that is searched around; one that was measured starts from its pull."""
    named = asked.find(desk, name, query)
    if named.pull is None:
        return named
    return Named(asked.measured_on(desk, named.build, named.build.sheet_id))


def search(desk: Desk, named: Named, wanted: Wanted, asked_for: Parameters) -> Shown:
    """Return the best of what was tested, as `pullbook choose --free` finds it.

    Raises
    ------
    InputError
        It cannot be searched.

    """
    predictor = desk.model.predictor()
    given = asked.ask(predictor, [named], asked.tests_for(desk, [named]))
    must = asked_for.demands
    found = desk.model.search(
        given, wanted.free, wanted.goal, asked_for.level, must.loads, must.cautions
    )
    chart = comparison_drawing.of_differences(
        *searching.best_and_own(predictor, found),
        asked_for.units,
        loads=found.goal.loads,
        title=search_text.title(found),
    )
    name = named.build.sheet_id
    measured = str(named.build.values.get("measured") or "")
    start = next((one.code for one in desk.reading.named(measured)), measured)
    best, own = (
        {**asked_for.address, **build_fields.of_form(build, asked_for.units), "sheet_id": called,
         "start": start}
        for build, called in ((found.best.build, f"{name}, best found"), (named.build, name))
    )  # fmt: skip
    return Shown(found, Figure(chart), asked_for.units, best, own)
