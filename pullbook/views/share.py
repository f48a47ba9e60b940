"""Share: what would leave, sheet by sheet, and a signed pack to send."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.exceptions import HTTPException
from starlette.responses import FileResponse, RedirectResponse

from pullbook.guards.inside_folder import inside
from pullbook.pipeline.privacy import key_file
from pullbook.schemas.errors import InputError
from pullbook.text import check_text
from pullbook.view_parts import progress as progressing
from pullbook.view_parts import rendering
from pullbook.view_parts.progress import Step
from pullbook.view_parts.rendering import desk_of
from pullbook.words.figures import counted
from pullbook.workspace.folder import SHARED

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request
    from starlette.responses import Response

    from pullbook.workspace.sharing import Sharing

_MOST = 40


def view(request: Request) -> Response:
    """Show what would leave."""
    return _page(request)


def _page(request: Request, status: int = 200, fault: str = "") -> Response:
    from pullbook.pipeline.privacy import contributed_sheet

    desk = desk_of(request)
    plan = None
    if desk.folder.path is not None and not fault:
        try:
            plan = desk.sharing.plan_soon()
        except InputError as found:
            fault = str(found)
    accepted = [] if plan is None else plan.accepted
    refused = [] if plan is None else plan.refused
    return rendering.page(
        request, "share", status, title="Share", fault=fault, plan=plan,
        waiting=_step(desk.sharing) if plan is None else None, pending=desk.reading.pending,
        summary=check_text.count(
            [*(one.sheet for one in accepted), *(one.sheet for one in refused)]
        ),
        entries=[
            (check_text.printable(one.sheet.source.rsplit("/", 1)[-1]), one.name,
             contributed_sheet.shown(one.sheet.values, one.sheet.readings))
            for one in accepted[:_MOST]
        ],
        more=max(len(accepted) - _MOST, 0),
        texts=[
            [label, ", ".join(values)]
            for label, values in check_text.shared_texts(one.sheet for one in accepted)
        ],
        coded=check_text.names([one.sheet for one in accepted]),
        refused=[
            (check_text.printable(one.sheet.sheet_id),
             "" if one.sheet.fault is None else check_text.printable(one.sheet.fault.message))
            for one in refused[:_MOST]
        ],
        refused_more=max(len(refused) - _MOST, 0), new_key=not key_file.default_path().exists(),
        done=request.query_params.get("done", ""), pack=request.query_params.get("pack", ""),
    )  # fmt: skip


def _step(sharing: Sharing) -> Step | None:
    found = sharing.waiting
    return (
        None
        if found is None
        else Step(f"{found[0]}: {found[1]} of {found[2]}", found[1] / found[2])
    )


async def progress(request: Request) -> Response:
    """Send how far a plan is that is made beside, until it ends."""
    sharing = desk_of(request).sharing
    return progressing.stream(lambda: _step(sharing))


def make(request: Request, form: Mapping[str, str]) -> Response:
    """Write a pack to send."""
    del form
    desk = desk_of(request)
    try:
        path, number = desk.sharing.pack()
    except (InputError, TimeoutError) as fault:
        return _page(request, 422, str(fault))
    done = f"A pack of {counted(number, 'sheet')} is in the folder {SHARED}."
    return RedirectResponse(f"/share?{rendering.query({'done': done, 'pack': path.name})}", 303)


def fetch(request: Request) -> Response:
    """Return a pack as a file to save."""
    desk = desk_of(request)
    path = inside(desk.folder.top, SHARED, request.path_params["name"])
    if path.suffix != ".zip" or not path.is_file():
        raise HTTPException(404)
    return FileResponse(path, filename=path.name, media_type="application/zip")
