"""Type a paper sheet in: fields, and a grid of readings that may be pasted from a spreadsheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.responses import RedirectResponse

from pullbook.schemas import field_words
from pullbook.schemas.errors import InputError
from pullbook.schemas.fields import FIELDS
from pullbook.view_parts import build_form, parameters, rendering
from pullbook.view_parts.build_form import Entry, Group
from pullbook.view_parts.rendering import desk_of
from pullbook.workspace import typed_sheet

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request
    from starlette.responses import Response

    from pullbook.words.units import Units

#: Fields of a test on paper, in the order they are usually printed.
_TEST = ("engine", "correction", "air_temperature", "barometer", "relative_humidity",
         "tested_on", "notes")  # fmt: skip
_LEFT_OUT = ("stated_correction", "correction_route", "measured")


def view(request: Request) -> Response:
    """Show an empty sheet."""
    return _page(request, {}, "")


def _page(
    request: Request, given: Mapping[str, str], fault: str, where: str = "", status: int = 200
) -> Response:
    asked_for = parameters.read({**request.query_params, **given})
    groups = build_form.groups(given, asked_for.units)
    groups.insert(1, Group("How it was tested", tuple(_entry(n, given, asked_for.units)
                                                      for n in _TEST)))  # fmt: skip
    return rendering.page(
        request, "type_in", status, title="Type a paper sheet in", units=asked_for.units,
        groups=groups, fault=fault, where=where, readings=given.get("readings", ""),
    )  # fmt: skip


def _entry(name: str, given: Mapping[str, str], units: Units) -> Entry:
    field = FIELDS[name]
    unit = field_words.unit_of(name, metric=units.metric)
    return Entry(name, field.title, unit, given.get(name, ""), field.choices)


def save(request: Request, form: Mapping[str, str]) -> Response:
    """Save what was typed in as a sheet file, and show how it was read."""
    desk = desk_of(request)
    asked_for = parameters.read(form)
    fields = {name: text for name, text in asked_for.fields.items() if name not in _LEFT_OUT}
    try:
        path = typed_sheet.save(desk.folder, fields, form.get("readings", ""), asked_for.units)
    except InputError as fault:
        words = str(fault).removeprefix(f"{fault.field}: ")
        return _page(request, form, words, fault.field or "", 422)
    tests = desk.reading.tests.values()
    code = next((one.code for one in tests if path in one.raw.files), "")
    done = rendering.query({"done": f"Saved as {path.name}."})
    return RedirectResponse(f"/engines/{code}?{done}" if code else f"/engines?{done}", 303)
