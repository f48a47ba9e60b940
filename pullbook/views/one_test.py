"""One measured test: its curve, its data, what was found, its series, and a missing field."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse

from pullbook.drawings import pull_drawing
from pullbook.schemas.errors import InputError
from pullbook.schemas.fields import FIELDS
from pullbook.schemas.severity import Severity
from pullbook.text import check_text
from pullbook.view_parts import parameters, rendering
from pullbook.view_parts.rendering import Figure, desk_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request
    from starlette.responses import Response

    from pullbook.words.units import Units
    from pullbook.workspace.measured_tests import Test

_KINDS = {Severity.REFUSE: "error", Severity.WARN: "warning", Severity.NOTE: "note"}
#: Fields that are not for a sheet.
_NOT_OURS = ("sheet_id", "measured", "stated_correction", "correction_route")


@dataclass(frozen=True, slots=True)
class Shown:
    """A test as the page shows it."""

    test: Test
    units: Units

    @property
    def fields(self) -> list[list[str]]:
        """Each field: its name, its value, and how the sheet has it."""
        sheet = self.test.sheet
        return [
            [
                FIELDS[name].label,
                self.units.field(name, value),
                check_text.printable(sheet.cells[name].text) if name in sheet.cells else "",
                "settings" if name in sheet.cells and sheet.cells[name].from_settings else "",
            ]
            for name, value in sheet.values.items()
            if value is not None and name in FIELDS
        ]

    @property
    def readings(self) -> list[list[str]]:
        """The rows of the pull, in lb-ft and hp or metric, as the sheet states them."""
        rows = []
        for one in self.test.sheet.readings:
            torque = "" if one.torque is None else f"{self.units.shown(one.torque, 'lb-ft'):.1f}"
            power = "" if one.power is None else f"{self.units.shown(one.power, 'hp'):.1f}"
            rows.append([f"{one.rpm:.0f}", torque, power])
        return rows

    @property
    def findings(self) -> list[tuple[str, int | None, str]]:
        """What was found, errors first."""
        order = list(_KINDS)
        found = sorted(self.test.sheet.findings, key=lambda one: order.index(one.severity))
        return [(_KINDS[one.severity], one.row, check_text.printable(one.message)) for one in found]

    @property
    def correction(self) -> str:
        """How its numbers were brought to the reference condition."""
        from pullbook.text import measured_text

        return (
            measured_text.corrected(self.test.sheet, self.units) if self.test.sheet.accepted else ""
        )


def _test(request: Request) -> Test:
    found = desk_of(request).reading.tests.get(request.path_params["code"])
    if found is None:
        raise HTTPException(404)
    return found


def view(request: Request) -> Response:
    """Show one test."""
    return _page(request, _test(request))


def _page(
    request: Request,
    test: Test,
    status: int = 200,
    fault: str = "",
    typed: Mapping[str, str] | None = None,
) -> Response:
    asked_for = parameters.read(request.query_params)
    reading = desk_of(request).reading
    chart = pull_drawing.of_pull(test.pull, asked_for.units) if test.sheet.accepted else None
    fields = [(name, field.title) for name, field in FIELDS.items() if name not in _NOT_OURS]
    return rendering.page(
        request, "one_test", status, title=check_text.printable(test.name),
        units=asked_for.units, test=test, shown=Shown(test, asked_for.units), fault=fault,
        figure=None if chart is None else Figure(chart), series=reading.of_engine(test)[1:],
        fields=fields, typed=typed or {}, done=request.query_params.get("done", ""),
        source=check_text.printable(test.sheet.source.rsplit("/", 1)[-1]),
    )  # fmt: skip


def amend(request: Request, form: Mapping[str, str]) -> Response:
    """Add a field that the sheet lacks, beside the original: in the settings file."""
    desk, test = desk_of(request), _test(request)
    name, text = form.get("field", ""), form.get("value", "").strip()
    if name not in FIELDS or name in _NOT_OURS or not text:
        return _page(request, test, 422, "Choose a field and type its value.", form)
    inner = f"{json.dumps(test.name)}: {{{name}: {json.dumps(text)}}}"
    before = {one.message for one in test.sheet.findings}
    try:
        desk.folder.add_settings([f"sheets: {{{inner}}}"])
    except InputError as fault:
        return _page(request, test, 422, str(fault), form)
    again = _test(request)
    wrong = [one.message for one in again.sheet.findings
             if one.field == name and one.message not in before
             and one.severity is not Severity.NOTE]  # fmt: skip
    if wrong:
        return _page(request, again, 422, wrong[0], form)
    done = (
        f"{FIELDS[name].title} added. The sheet itself is as it was; the addition is in"
        f" {desk.folder.settings.name}."
    )
    return RedirectResponse(f"/engines/{test.code}?{rendering.query({'done': done})}", 303)


def learned(request: Request) -> Response:
    """Show a test that the model learned from: its fields, as far as the model knows them."""
    from pullbook.model.trained import find_sheet

    desk = desk_of(request)
    asked_for = parameters.read(request.query_params)
    name = request.query_params.get("name", "")
    model = desk.model.predictor().model
    build = find_sheet.as_build(model, name)
    if build is None:
        raise HTTPException(404)
    low, high = model.sweeps[model.sheet_ids.index(name)].tolist()
    rows = [
        [FIELDS[one].label, asked_for.units.field(one, value)]
        for one, value in build.values.items()
        if one in FIELDS and one not in {"shop", "sheet_id", *_NOT_OURS}
    ]
    return rendering.page(request, "learned", title=name, units=asked_for.units, rows=rows,
                          low=low, high=high, name=name)  # fmt: skip
