"""Ask: a build from nothing or from a measured engine, and what it will likely make."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from starlette.responses import RedirectResponse

from pullbook.drawings import prediction_drawing
from pullbook.model.prediction.cautions import cautions
from pullbook.pipeline.loads import ceilings
from pullbook.schemas.errors import InputError
from pullbook.text import caution_text, load_text, prediction_text
from pullbook.view_parts import asked, build_form, parameters, rendering
from pullbook.view_parts.asked import Named
from pullbook.view_parts.parameters import BESIDE
from pullbook.view_parts.rendering import Figure, desk_of
from pullbook.words import figures, promise
from pullbook.workspace import build_fields, saved_builds

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request
    from starlette.responses import Response

    from pullbook.model.answers.predictor import Predictor
    from pullbook.model.trained.pulls import Pull
    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.answer import Answer
    from pullbook.view_parts.parameters import Parameters
    from pullbook.view_parts.rendering import Desk
    from pullbook.words.units import Units

_MOST_NEAREST, _MOST_MISSING = 5, 6


@dataclass(frozen=True, slots=True)
class Driven:
    """A load as the page shows it: its name, the verdict, and the table behind it."""

    name: str
    verdict: str
    headings: list[str]
    rows: list[list[str]]


@dataclass(frozen=True, slots=True)
class Shown:
    """An answer as the page shows it."""

    build: Build
    answer: Answer
    drawn: Answer
    figure: Figure
    pull: Pull | None
    band: str
    units: Units
    tests: Mapping[str, str]

    @property
    def standing(self) -> str:
        """Where the build stands."""
        return figures.sentence(prediction_text.STANDING[self.answer.standing.value])

    @property
    def first(self) -> list[str]:
        """What to know before anything else."""
        return promise.first(self.answer)

    @property
    def reasons(self) -> list[str]:
        """Why it is not inside the data."""
        found = prediction_text.reasons(self.answer.reasons, self.units)
        return [f"{figures.sentence(one)}." for one in found]

    @property
    def peaks(self) -> list[str]:
        """The highest torque and the highest power."""
        return prediction_text.peaks(self.answer, self.units)

    @property
    def notes(self) -> list[str]:
        """What the answer starts from, and how far its promise goes."""
        private = bool(self.answer.bundle.get("private"))
        return [
            *promise.start(self.answer, self.units, others=not private),
            *prediction_text.widened(self.answer),
            *promise.family(self.answer),
            *prediction_text.meaning([self.answer]),
        ]

    @property
    def cautions(self) -> list[str]:
        """What the build exceeds."""
        return caution_text.lines(self.answer.cautions, self.units)

    @property
    def loads(self) -> list[Driven]:
        """What the engine must drive, and whether it does."""
        return [
            Driven(
                load_text.name(one.load, self.units),
                " ".join(load_text.verdict(one, self.answer)),
                load_text.headings(self.answer, self.units),
                load_text.rows(one, self.answer, self.units),
            )
            for one in self.answer.loads
        ]

    @property
    def load_notes(self) -> list[str]:
        """What the chances are of, and what a load is."""
        return load_text.notes(self.answer)

    @property
    def missing(self) -> str:
        """What is not given, and what it would bring."""
        return prediction_text.missing(self.answer.missing)

    @property
    def headings(self) -> list[str]:
        """The headings of the table."""
        percent = f"{figures.level(self.answer.level)} limits"
        torque, power = self.units.torque, self.units.power
        return ["rpm", f"torque, {torque}", percent, f"power, {power}", percent]

    @property
    def rows(self) -> list[list[str]]:
        """The curve as a table."""
        return prediction_text.table(self.answer, self.units)

    @property
    def nearest(self) -> list[tuple[str, str]]:
        """The nearest tests, each with its address."""
        named = [name for name, _ in self.answer.nearest[:_MOST_NEAREST]]
        return [(name, self.tests.get(name, "")) for name in named]


def view(request: Request) -> Response:
    """Show the form and, where the build can be predicted, the answer."""
    desk = desk_of(request)
    asked_for = parameters.read(request.query_params)
    named, faults = asked_for.given.get("start", "").strip(), dict(asked_for.faults)
    name = asked_for.given.get("from", "")
    saved = saved_builds.named(desk.folder, name) if name else None
    if saved is not None and not named and not _described(asked_for):
        named = asked.start_of(desk, saved)
    try:
        start = asked.code_of(desk, named)
    except InputError as fault:
        start, faults["start"] = "", figures.sentence(str(fault))
    bare = not (asked_for.fields or start or asked_for.given.get("from"))
    # The first page does not wait for the model.
    predictor = None if bare and not desk.model.ready else desk.model.predictor()
    fields, begun = _fields(desk, predictor, asked_for, start, saved)
    build, shown, pull = None, None, None
    try:
        pull = asked.beside(desk, asked_for.given.get(BESIDE, "").strip())
    except InputError as fault:
        faults[BESIDE] = figures.sentence(str(fault))
    if fields and predictor is not None and "start" not in faults:
        build = build_fields.build_of(fields, asked_for.units)
        try:
            shown = answer(desk, predictor, build, asked_for, start, pull)
        except InputError as fault:
            faults["start"] = str(fault)
    missing = () if shown is None else shown.answer.missing
    model = None if predictor is None else predictor.model
    groups = build_form.groups(fields, asked_for.units, model, build, missing)
    return rendering.page(
        request, "ask", title="Ask", units=asked_for.units, groups=groups, shown=shown,
        asked=asked_for, faults=faults, start=start, named=begun if start else named, begun=begun,
        fields=fields,
        address=rendering.query({**asked_for.address, **fields, "start": start}),
        elsewhere=[] if build is None else build_form.elsewhere(build, _names()),
        levels=parameters.LEVELS, saved=request.query_params.get("saved", ""),
        against=request.query_params.get("against", ""),
        against_name=request.query_params.get("against_name", ""),
        tests=asked.starts(desk), ready=predictor is not None,
        builds=[one.build.sheet_id for one in saved_builds.builds(desk.folder)],
    )  # fmt: skip


def _names() -> set[str]:
    return {name for names in build_fields.GROUPS.values() for name in names}


def _described(asked_for: Parameters) -> bool:
    """Return whether an address describes a build itself."""
    return any(one in asked_for.fields for one in ("cylinders", "bore", "displacement"))


def _fields(
    desk: Desk,
    predictor: Predictor | None,
    asked_for: Parameters,
    start: str,
    saved: Build | None,
) -> tuple[dict[str, str], str]:
    """Return what stands in the form, and the name of the test or build it was begun from."""
    fields = dict(asked_for.fields)
    if _described(asked_for):
        test = desk.reading.tests.get(start)
        return fields, start if test is None else test.name
    measured = _measured(desk, predictor, start) if start and predictor is not None else None
    if saved is not None:
        if measured is not None:
            saved.complete_size(measured)
        kept = build_fields.of_form(saved, asked_for.units)
        return {**kept, **fields}, (measured or saved).sheet_id
    if measured is None:
        return fields, ""
    kept = build_fields.of_form(measured, asked_for.units)
    return {**kept, "sheet_id": f"{measured.sheet_id}, changed", **fields}, measured.sheet_id


def _measured(desk: Desk, predictor: Predictor, start: str) -> Build | None:
    """Return the build of a test in the folder, or of one that the model learned from."""
    test = desk.reading.tests.get(start)
    if test is not None:
        return test.sheet
    from pullbook.model.trained import find_sheet

    return find_sheet.as_build(predictor.model, start)


def answer(
    desk: Desk, predictor: Predictor, build: Build, asked_for: Parameters, start: str,
    pull: Pull | None,
) -> Shown | None:  # fmt: skip
    """Return the answer about a build; ``None`` where it cannot be predicted.

    ``pull`` is drawn beside it.

    Raises
    ------
    InputError
        The test that it starts from cannot be used.

    """
    from pullbook.model.prediction.over_band import over_band

    named = Named(asked.measured_on(desk, build, start))
    reading = desk.reading
    in_folder = not start or start in reading.tests
    given = asked.ask(predictor, [named], asked.tests_for(desk, [named]) if in_folder else [])
    found = desk.model.prediction(given)
    build.findings[:] = given.builds[0].findings
    if found is None:
        fault = given.builds[0].fault
        if fault is not None and fault.field == "measured":
            raise InputError(fault.message)
        return None
    wanted = asked_for.demands
    table, drawn = asked.answers(found, asked_for.level, wanted.loads)
    rpm = np.array([point.rpm for point in table.curve])
    table = replace(table, cautions=cautions(build, found, ceilings.read(wanted.cautions), rpm))
    chart = prediction_drawing.on_one_pair(drawn, asked_for.units, asked_for.band, pull)
    over = over_band(found, asked_for.band, asked_for.level)
    band = prediction_text.mean(over, asked_for.units)
    places = {name: f"/tested?{rendering.query({'name': name})}" for name, _ in table.nearest}
    if predictor.manifest["private"]:  # the model learned from the tests in the folder
        places |= {name: f"/engines/{one.code}" for name in places for one in reading.named(name)}
    return Shown(build, table, drawn, Figure(chart), pull, band, asked_for.units, places)


def save(request: Request, form: Mapping[str, str]) -> Response:
    """Save the build of the form as a file that the command line reads."""
    given, desk = parameters.read(form), desk_of(request)
    measured = asked.started_from(desk, form.get("start", ""))
    path = saved_builds.save(desk.folder, given.fields, given.units, measured)
    more: dict[str, Any] = {**given.address, **given.fields, "start": form.get("start", "")}
    return RedirectResponse(f"/ask?{rendering.query({**more, 'saved': path.name})}", 303)
