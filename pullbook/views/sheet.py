"""Answer sheet: one page to print or to send, the same that `predict --html` writes."""

from __future__ import annotations

import base64
import datetime as dt
from typing import TYPE_CHECKING

from starlette.responses import RedirectResponse, Response

from pullbook.answer_sheets import prediction_sheet
from pullbook.guards.inside_folder import plain_name
from pullbook.schemas.errors import InputError
from pullbook.view_parts import asked, parameters, rendering
from pullbook.view_parts.demands import CEILINGS, LOADS
from pullbook.view_parts.parameters import BESIDE
from pullbook.view_parts.rendering import desk_of
from pullbook.views import ask
from pullbook.workspace import build_fields

if TYPE_CHECKING:
    from starlette.requests import Request

    from pullbook.reports.document import Page
    from pullbook.view_parts.parameters import Parameters
    from pullbook.view_parts.rendering import Desk
    from pullbook.views.ask import Shown

#: Names that the shop's logo may have in the folder, and what each is.
LOGOS = {"logo.png": "image/png", "logo.jpg": "image/jpeg", "logo.svg": "image/svg+xml"}
_MOST_LOGO = 2_000_000
_HEAD = ("by", "customer", "date")


def view(request: Request) -> Response:
    """Show the sheet with shop, customer and date in its head."""
    desk = desk_of(request)
    asked_for = parameters.read(request.query_params)
    if not asked_for.fields:
        return RedirectResponse("/ask", 303)
    shown = _shown(desk, asked_for)
    head = {name: asked_for.given.get(name, "") for name in _HEAD}
    head["date"] = head["date"] or dt.datetime.now(tz=dt.UTC).date().isoformat()
    address = {
        **asked_for.address, **asked_for.fields, "start": asked_for.given.get("start", ""),
    }  # fmt: skip
    return rendering.page(
        request, "sheet", title=shown.answer.sheet_id, units=asked_for.units, shown=shown,
        head=head, logo=_logo(desk), given=address, query_of=rendering.query(address),
        parts_of=_page(shown).parts,
    )  # fmt: skip


def _shown(desk: Desk, asked_for: Parameters) -> Shown:
    """Return the answer that the sheet is about.

    Raises
    ------
    InputError
        The build cannot be predicted, or a load or caution cannot be read.

    """
    wrong = [asked_for.faults[one] for one in (LOADS, *CEILINGS) if one in asked_for.faults]
    if wrong:
        raise InputError(wrong[0].removesuffix("."))
    build = build_fields.build_of(asked_for.fields, asked_for.units)
    start = asked_for.given.get("start", "")
    pull = asked.beside(desk, asked_for.given.get(BESIDE, "").strip())
    shown = ask.answer(desk, desk.model.predictor(), build, asked_for, start, pull)
    if shown is None:
        fault = build.fault
        raise InputError("The build cannot be predicted" if fault is None else fault.message)
    return shown


def _page(shown: Shown) -> Page:
    """Return the sheet that the command line writes for the same build."""
    return prediction_sheet.of_answers(
        [shown.answer], [shown.drawn], [shown.build], shown.units, pull=shown.pull
    )


def fetch(request: Request) -> Response:
    """Return the sheet as one file that opens anywhere, to send."""
    shown = _shown(desk_of(request), parameters.read(request.query_params))
    name = plain_name(shown.answer.sheet_id)
    safe = name.encode("ascii", "replace").decode().replace("?", "-")
    return Response(
        _page(shown).html(), media_type="text/html",
        headers={"Content-Disposition": f'attachment; filename="{safe}.html"'},
    )  # fmt: skip


def _logo(desk: Desk) -> str:
    """Return the shop's logo in the folder as a picture within the page; empty without one."""
    top = desk.folder.path
    for name, kind in LOGOS.items() if top is not None else ():
        path = (top or desk.folder.top) / name
        if path.is_file() and path.stat().st_size <= _MOST_LOGO:
            return f"data:{kind};base64,{base64.b64encode(path.read_bytes()).decode()}"
    return ""
