"""How far work is that goes on beside the page: sent to the script until it ends."""

from __future__ import annotations

import asyncio
import json
from typing import TYPE_CHECKING, NamedTuple

from starlette.responses import StreamingResponse

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable

    from starlette.responses import Response

_EVERY = 0.5


class Step(NamedTuple):
    """What is being done, and which share of it is done; ``None`` where nobody knows."""

    text: str
    share: float | None


def counted(what: str, progress: tuple[int, int], things: str) -> Step:
    """Return a step with a count.

    >>> counted("Reading your files", (25, 100), "files")
    Step(text='Reading your files: 25 of 100 files', share=0.25)
    """
    done, total = progress
    return Step(f"{what}: {done} of {total} {things}", done / total if total else None)


def stream(now: Callable[[], Step | None]) -> Response:
    """Return what sends each step until there is none."""

    async def events() -> AsyncIterator[str]:
        while (step := now()) is not None:
            yield f"event: step\ndata: {json.dumps(step._asdict())}\n\n"
            await asyncio.sleep(_EVERY)
        yield "event: end\ndata: {}\n\n"

    return StreamingResponse(events(), media_type="text/event-stream")
