"""What a guard answers when it lets nothing through: one plain sentence."""

from __future__ import annotations

from starlette.responses import PlainTextResponse


def refused(sentence: str, status: int = 403) -> PlainTextResponse:
    """Return the answer of a guard."""
    return PlainTextResponse(f"{sentence}\n", status_code=status)
