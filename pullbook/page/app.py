"""The page as one application: its views by address, behind its guards."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from pullbook.guards.address_key import AddressKey
from pullbook.guards.policy import Policy
from pullbook.guards.same_origin import SameOrigin
from pullbook.guards.upload_bounds import MOST_FIELDS, MOST_FILES, UploadBounds
from pullbook.page import errors
from pullbook.view_parts.rendering import Desk
from pullbook.views import (
    ask,
    choose,
    choose_list,
    compare,
    engines,
    my_model,
    one_test,
    share,
    sheet,
    type_in,
)
from pullbook.workspace.folder import Folder
from pullbook.workspace.model_in_use import ModelInUse
from pullbook.workspace.retraining import Retraining
from pullbook.workspace.sharing import Sharing

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable, Mapping, Sequence

    from starlette.requests import Request

    from pullbook.page.state_file import Address

    Files = Sequence[tuple[str, bytes]]
    Changed = Callable[[Request, Mapping[str, str]], Response]
    Uploaded = Callable[[Request, Mapping[str, str], Files], Response]

#: A field of a form may hold a long paste, bytes.
_MOST_FIELD = 1_000_000
_STATIC = {"page.css": "text/css", "page.js": "text/javascript"}


def app(folder: Folder, address: Address) -> Starlette:
    """Return the application of a folder's page."""
    made = Starlette(
        routes=_routes(),
        middleware=[
            Middleware(Policy),
            Middleware(UploadBounds),
            Middleware(SameOrigin, port=address.port),
            Middleware(AddressKey, key=address.key, port=address.port),
            Middleware(errors.Faults),
        ],
        exception_handlers=errors.HANDLERS,
    )
    model = ModelInUse(folder)
    made.state.desk = Desk(folder, model, Retraining(folder, model), Sharing(folder))
    return made


def _routes() -> list[Route]:
    return [
        Route("/", _first),
        Route("/static/{name}", _static),
        Route("/names", engines.names),
        Route("/names/tests", engines.names_of_tests),
        Route("/ask", ask.view),
        Route("/ask/save", _change(ask.save), methods=["POST"]),
        Route("/compare", compare.view),
        Route("/tested", one_test.learned),
        Route("/sheet", sheet.view),
        Route("/sheet/file", sheet.fetch),
        Route("/choose", choose.view),
        Route("/choose/list", choose_list.view),
        Route("/choose/save", _change(choose_list.save), methods=["POST"]),
        Route("/model", my_model.view),
        Route("/model", _change(my_model.change), methods=["POST"]),
        Route("/model/progress", my_model.progress),
        Route("/model/accuracy", my_model.whole),
        Route("/share", share.view),
        Route("/share/progress", share.progress),
        Route("/share/pack", _change(share.make), methods=["POST"]),
        Route("/share/pack/{name}", share.fetch),
        Route("/engines", engines.view),
        Route("/engines/add", _upload(engines.add), methods=["POST"]),
        Route("/engines/decide", _change(engines.decide), methods=["POST"]),
        Route("/engines/type", type_in.view),
        Route("/engines/type/save", _change(type_in.save), methods=["POST"]),
        Route("/engines/progress", engines.progress),
        Route("/engines/{code}", one_test.view),
        Route("/engines/{code}/amend", _change(one_test.amend), methods=["POST"]),
    ]


def _first(request: Request) -> Response:
    del request
    return RedirectResponse("/ask", 303)


def _change(change: Changed) -> Callable[[Request], Awaitable[Response]]:
    """Return what reads a form within bounds and hands its texts to a view that changes files."""

    def without_files(request: Request, texts: Mapping[str, str], files: Files) -> Response:
        del files
        return change(request, texts)

    return _upload(without_files)


def _upload(change: Uploaded) -> Callable[[Request], Awaitable[Response]]:
    """Return what hands the texts and the files of a form to a view."""

    async def changed(request: Request) -> Response:
        async with request.form(
            max_files=MOST_FILES, max_fields=MOST_FIELDS, max_part_size=_MOST_FIELD
        ) as form:
            items = form.multi_items()
            texts = {name: text for name, text in items if isinstance(text, str)}
            files = [
                (one.filename, await one.read())
                for _, one in items
                if not isinstance(one, str) and one.filename
            ]
            return await run_in_threadpool(change, request, texts, files)

    return changed


def _static(request: Request) -> Response:
    name = request.path_params["name"]
    if name not in _STATIC:
        return Response("There is no such file.\n", 404, media_type="text/plain")
    return Response(_read(name), media_type=_STATIC[name])


@cache
def _read(name: str) -> bytes:
    return files("pullbook.views").joinpath("static", name).read_bytes()
