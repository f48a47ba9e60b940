"""The key: it comes once in the address that `pullbook open` prints, then in a cookie.

Other programs and other users of the machine can reach the port; without the key they get nothing.
The cookie is sent by no page of another site, and no script can read it.
"""

from __future__ import annotations

import hmac
from dataclasses import dataclass
from typing import TYPE_CHECKING

from starlette.datastructures import URL
from starlette.requests import Request
from starlette.responses import RedirectResponse

from pullbook.guards.answers import refused

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send

KEY = "key"
#: The cookie lives as long as a bookmark is likely to be used, seconds.
_YEAR = 365 * 24 * 3600
NO_KEY = (
    "This page opens with the address that `pullbook open` printed, with its key. Run `pullbook"
    " open` again and use the address it prints."
)


def cookie_name(port: int) -> str:
    """Return the name of the cookie: browsers share cookies between the ports of a machine."""
    return f"pullbook-{port}"


@dataclass(frozen=True, slots=True)
class AddressKey:
    """Lets through who has the key, and takes the key out of the address."""

    app: ASGIApp
    key: str
    port: int

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or hand it on."""
        if scope["type"] != "http":
            return
        request = Request(scope)
        given = request.query_params.get(KEY)
        if given is not None and request.method == "GET":
            await self._first(request, given)(scope, receive, send)
        elif self._is(request.cookies.get(cookie_name(self.port), "")):
            await self.app(scope, receive, send)
        else:
            await refused(NO_KEY)(scope, receive, send)

    def _first(self, request: Request, given: str) -> RedirectResponse | ASGIApp:
        if not self._is(given):
            return refused(NO_KEY)
        bare = URL(scope=request.scope).remove_query_params(KEY)
        # The path alone, with one slash first: never another host.
        path = f"/{bare.path.lstrip('/')}"
        answer = RedirectResponse(f"{path}?{bare.query}" if bare.query else path, 303)
        answer.set_cookie(cookie_name(self.port), self.key, max_age=_YEAR, httponly=True,
                          samesite="strict")  # fmt: skip
        return answer

    def _is(self, given: str) -> bool:
        return hmac.compare_digest(given.encode(), self.key.encode())
