"""What becomes of an error on the page: a sentence for the user's, a log for the program's."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request

from pullbook.guards.upload_bounds import TooLargeError
from pullbook.schemas.errors import PullbookError
from pullbook.tasks import fault_log
from pullbook.view_parts import rendering

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from starlette.responses import Response
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

_NOT_THERE = "There is nothing at this address. Choose a view in the menu."


def _page(request: Request, status: int, sentence: str) -> Response:
    return rendering.page(request, "error", status, title="That did not work", sentence=sentence)


def _of_user(request: Request, fault: Exception) -> Response:
    return _page(request, 422, f"{fault}")


def _of_address(request: Request, fault: Exception) -> Response:
    status = fault.status_code if isinstance(fault, HTTPException) else 400
    detail = fault.detail if isinstance(fault, HTTPException) else ""
    return _page(request, status, _NOT_THERE if status == 404 else f"{detail}.")


def _of_system(request: Request, fault: Exception) -> Response:
    name = getattr(fault, "filename", None)
    said = getattr(fault, "strerror", None) or str(fault)
    return _page(request, 500, f"{name}: {said}." if name else f"{said}.")


@dataclass(frozen=True, slots=True)
class Faults:
    """The one place where an error of the program ends: in a log, and in a sentence."""

    app: ASGIApp

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand a request on; where that fails, answer with the sentence if nothing was sent."""
        begun = False

        async def noted(message: Message) -> None:
            nonlocal begun
            begun = True
            await send(message)

        try:
            await self.app(scope, receive, noted)
        except TooLargeError:
            raise
        except Exception as fault:
            sentence = await run_in_threadpool(fault_log.report, fault)
            if not begun:
                answer = _page(Request(scope), 500, sentence)
                await answer(scope, receive, send)


HANDLERS: Mapping[Any, Callable[[Request, Exception], Response]] = {
    PullbookError: _of_user,
    HTTPException: _of_address,
    OSError: _of_system,
}
