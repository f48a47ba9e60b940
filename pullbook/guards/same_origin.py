"""Only this machine and this page may ask: against renamed hosts and posts from other sites."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from starlette.datastructures import Headers

from pullbook.guards.answers import refused

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send

_SAFE = ("GET", "HEAD")
OTHER_HOST = "This page answers on 127.0.0.1 alone."
OTHER_SITE = "This request came from another site, so nothing was done."


@dataclass(frozen=True, slots=True)
class SameOrigin:
    """Refuses a foreign name for this host, and requests that another site makes."""

    app: ASGIApp
    port: int

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or hand it on."""
        if scope["type"] != "http":
            return
        headers = Headers(scope=scope)
        if not self._is_host(headers):
            await refused(OTHER_HOST, 421)(scope, receive, send)
        elif not self._is_ours(headers, str(scope["method"])):
            await refused(OTHER_SITE)(scope, receive, send)
        else:
            await self.app(scope, receive, send)

    @property
    def _hosts(self) -> tuple[str, ...]:
        return f"127.0.0.1:{self.port}", f"localhost:{self.port}"

    def _is_host(self, headers: Headers) -> bool:
        return headers.getlist("host") in [[host] for host in self._hosts]

    def _is_ours(self, headers: Headers, method: str) -> bool:
        site, mode = headers.get("sec-fetch-site"), headers.get("sec-fetch-mode")
        if method in _SAFE:  # a link from another page may lead here, its pictures may not
            return site in (None, "same-origin", "none") or mode == "navigate"
        origin = headers.get("origin")
        if origin is not None and origin != f"http://{headers['host']}":
            return False
        return site == "same-origin" if site is not None else origin is not None
