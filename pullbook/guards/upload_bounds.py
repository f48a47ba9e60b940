"""How much may come in at once: bytes of a request, files and fields of a form."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from starlette.datastructures import Headers

from pullbook.guards.answers import refused
from pullbook.schemas.errors import PullbookError

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: Bytes of a request that brings files, and of any other.
MOST_BYTES, MOST_PLAIN_BYTES = 200_000_000, 2_000_000
#: Files and fields of one form.
MOST_FILES, MOST_FIELDS = 3000, 3000
TOO_LARGE = (
    f"That is more than {MOST_BYTES // 1_000_000} MB at once. Send fewer files, or copy them into"
    " the folder."
)


class TooLargeError(PullbookError):
    """More came in than may."""


@dataclass(frozen=True, slots=True)
class UploadBounds:
    """Stops a request that is too large, whatever it says of its own length."""

    app: ASGIApp

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request that is too large, or hand it on."""
        if scope["type"] != "http":
            return
        headers = Headers(scope=scope)
        files = headers.get("content-type", "").startswith("multipart/form-data")
        most = MOST_BYTES if files else MOST_PLAIN_BYTES
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > most:
            await refused(TOO_LARGE, 413)(scope, receive, send)
            return
        seen = 0

        async def counted() -> Message:
            nonlocal seen
            message = await receive()
            seen += len(message.get("body", b""))
            if seen > most:
                raise TooLargeError
            return message

        try:
            await self.app(scope, counted, send)
        except TooLargeError:
            await refused(TOO_LARGE, 413)(scope, receive, send)
