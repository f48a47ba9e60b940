"""Choose from a list: parts, and which of its combinations are best for a goal."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from starlette.responses import RedirectResponse

from pullbook.drawings import choice_drawing
from pullbook.guards.inside_folder import inside, plain_name
from pullbook.pipeline.builds import parts_list
from pullbook.pipeline.loads import ceilings
from pullbook.schemas.errors import InputError
from pullbook.tasks import questions
from pullbook.text import choice_text
from pullbook.view_parts import asked, parameters, rendering
from pullbook.view_parts.asked import Named
from pullbook.view_parts.rendering import Figure, desk_of
from pullbook.words import figures
from pullbook.workspace.folder import PARTS

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from starlette.requests import Request
    from starlette.responses import Response

    from pullbook.model.choices.parts_choice import Choice
    from pullbook.view_parts.parameters import Parameters
    from pullbook.view_parts.rendering import Desk
    from pullbook.words.units import Units

_LOW = (2000.0, 3000.0)
EXAMPLE = """\
# Every name, number and price is invented: replace them with your own.
build: {cylinders: 6, bore: 3.9 in, stroke: 3.75 in, fuel: gasoline, octane: 91}
parts:
  heads:
    - {name: as cast, price: 0, compression_ratio: 9.2, intake_flow: 195}
    - {name: cleaned up, price: 650, compression_ratio: 9.6, intake_flow: 215}
  camshaft:
    - {name: short, price: 240, intake_duration: 206, exhaust_duration: 212}
    - {name: long, price: 260, intake_duration: 230, exhaust_duration: 236}
goal: {mean_torque: 2000:4500}
limits:
  price: {at_most: 1000}
"""


class BudgetError(InputError):
    """A budget that a list cannot be kept within."""


@dataclass(frozen=True, slots=True)
class Shown:
    """A choice as the page shows it."""

    found: Choice
    units: Units

    @property
    def figure(self) -> Figure:
        """Low-range torque against highest power of the combinations."""
        return Figure(choice_drawing.of_choice(self.found, self.units))

    @property
    def lines(self) -> list[str]:
        """What comes first, and what it is about."""
        return [*choice_text.first(self.found, self.units),
                *choice_text.about(self.found, self.units)]  # fmt: skip

    @property
    def headings(self) -> list[str]:
        """The headings of the table."""
        return ["parts", *choice_text.headings(self.found, self.units)]

    @property
    def rows(self) -> list[list[str]]:
        """The combinations, ranked; those outside the data are marked in their last column."""
        return [[one.name, *choice_text.table_cells(self.found, one, self.units)]
                for one in choice_text.shown(self.found)]  # fmt: skip

    @property
    def notes(self) -> list[str]:
        """What ties and limits mean."""
        return choice_text.notes(self.found, self.units)

    @property
    def money(self) -> list[str]:
        """What money buys; nothing where the list has one price or none."""
        return choice_text.money_lines(self.found, self.units) if len(self.found.money) > 1 else []

    @property
    def short(self) -> list[str]:
        """Which combinations do not clear a load, and why."""
        found = self.found
        if not found.short:
            return []
        return [choice_text.not_clearing(found), *choice_text.shortfalls(found, self.units)]

    @property
    def parts(self) -> list[list[str]]:
        """The parts with what each sets."""
        return choice_text.part_rows(self.found, self.units)


def lists(desk: Desk) -> list[Path]:
    """Return the lists of parts in the folder."""
    place = None if desk.folder.path is None else desk.folder.path / PARTS
    return sorted(place.glob("*.yaml")) if place is not None and place.is_dir() else []


def view(request: Request) -> Response:
    """Show the lists and, where one is chosen, its combinations."""
    desk = desk_of(request)
    asked_for = parameters.read(request.query_params)
    name = request.query_params.get("list", "")
    path, text = _list(desk, name), _text(desk, name)
    shown, fault, faults = None, "", dict(asked_for.faults)
    budget = _budget(asked_for.given.get("budget", ""), faults)
    if name and path is None:
        fault = f"There is no list {name} in the folder {PARTS}."
    elif path is not None and not faults:
        try:
            shown = Shown(choose(desk, path, asked_for, budget), asked_for.units)
        except BudgetError as found:
            faults["budget"] = figures.sentence(str(found))
        except InputError as found:
            fault = str(found).replace(f"{path}: ", "").replace(str(path), path.name)
    return rendering.page(
        request, "choose_list", title="Choose from a list of parts", units=asked_for.units,
        asked=asked_for, lists=[one.name for one in lists(desk)], chosen=name, text=text,
        shown=shown, fault=fault, faults=faults, levels=parameters.LEVELS,
        headings=choice_text.PART_HEADINGS,
    )  # fmt: skip


def _list(desk: Desk, name: str) -> Path | None:
    return next((one for one in lists(desk) if one.name == name), None)


def _text(desk: Desk, name: str) -> str:
    """Return the text of a list in the folder; an example where there is none of that name."""
    path = _list(desk, name)
    return EXAMPLE if path is None else path.read_text(encoding="utf-8", errors="replace")


def _budget(text: str, faults: dict[str, str]) -> float | None:
    """Return the most that parts may cost together, where it is given."""
    try:
        return float(text) if text.strip() else None
    except ValueError:
        faults["budget"] = "Type the budget as a number, in the money of the list, such as 900."
        return None


def choose(desk: Desk, path: Path, asked_for: Parameters, budget: float | None) -> Choice:
    """Return the combinations of a list, ranked as `pullbook choose` ranks them.

    Raises
    ------
    BudgetError
        The list cannot be kept within the budget.
    InputError
        The list cannot be used.

    """
    predictor = desk.model.predictor()
    wanted = parts_list.read(path)
    if budget is not None:
        try:
            wanted = parts_list.within_budget(wanted, budget)
        except InputError as fault:
            raise BudgetError(str(fault)) from fault
    must = asked_for.demands
    aim = wanted.goal._replace(
        loads=(*wanted.goal.loads, *must.loads), ceilings=ceilings.read(must.cautions)
    )
    named = [Named(wanted.base)]
    given = questions.must_be_sound(asked.ask(predictor, named, asked.tests_for(desk, named)))
    (base,), (code,), (start,) = given
    wanted = replace(wanted, base=base, goal=aim)
    return predictor.choose(wanted, _LOW, asked_for.level, code, start)


def save(request: Request, form: Mapping[str, str]) -> Response:
    """Save a list of parts as a file that the command line reads, and choose from it.

    Who presses Choose and changed nothing in the list gets the one that was picked.
    """
    desk = desk_of(request)
    text = form.get("text", "").replace("\r\n", "\n")
    more = {**parameters.read(form).address, "budget": form.get("budget", "")}
    if form.get("what") == "choose" and text.strip() == _text(desk, form.get("was", "")).strip():
        picked = {"list": form.get("list", ""), **more}
        return RedirectResponse(f"/choose/list?{rendering.query(picked)}", 303)
    name = plain_name(form.get("name", "").strip() or "parts").removesuffix(".yaml")
    path = inside(desk.folder.top, PARTS, f"{name}.yaml")
    desk.folder.save(path, text.encode())
    return RedirectResponse(f"/choose/list?{rendering.query({'list': path.name, **more})}", 303)
