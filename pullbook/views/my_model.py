"""My model: train it anew, see whether it is better, keep it or go back; what to test next."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.exceptions import HTTPException
from starlette.responses import FileResponse, RedirectResponse

from pullbook.schemas.errors import InputError
from pullbook.text import model_text, next_test_text
from pullbook.view_parts import progress as progressing
from pullbook.view_parts import rendering
from pullbook.view_parts.progress import Step
from pullbook.view_parts.rendering import desk_of
from pullbook.words.figures import sentence
from pullbook.workspace import saved_builds

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request
    from starlette.responses import Response

    from pullbook.pipeline.values.sheet import Build
    from pullbook.view_parts.rendering import Desk

_JUDGED = ["", "in use", "new", "difference", "90 % limits"]
_ACCURATE = ["", "this model", "the one before"]


def view(request: Request) -> Response:
    """Show the model in use, training, and the candidate."""
    return _page(request)


def _page(request: Request, status: int = 200, fault: str = "") -> Response:
    desk = desk_of(request)
    predictor = desk.model.predictor()
    manifest, accuracy = predictor.manifest, desk.retraining.accuracy()
    builds = [one.build for one in saved_builds.builds(desk.folder) if one.build.accepted]
    wanted = request.query_params.get("next") == "yes" and len(builds) > 1
    return rendering.page(
        request, "model", status, title="My model", manifest=manifest, judged=_JUDGED,
        accuracy=accuracy, accurate=_ACCURATE, promises=model_text.promises(predictor.model, None),
        page=desk.retraining.page(new=False), page_of_new=desk.retraining.page(new=True),
        accuracy_rows=[[row[0], row[2], row[1]] for row in (accuracy or {}).get("rows", [])],
        training=desk.retraining, candidate=desk.retraining.candidate(),
        history=list(reversed(desk.retraining.history())),
        fault=fault or desk.retraining.fault, done=request.query_params.get("done", ""),
        tests=len(desk.reading.accepted), pending=desk.reading.pending,
        can_ask=len(builds) > 1, next_headings=next_test_text.HEADINGS,
        next_rows=_next(desk, builds) if wanted else [],
    )  # fmt: skip


def _next(desk: Desk, builds: list[Build]) -> list[list[str]]:
    found = desk.model.predictor().next(builds, builds)
    return [[str(cell) for cell in row] for row in next_test_text.rows(found, builds, builds)]


def change(request: Request, form: Mapping[str, str]) -> Response:
    """Train, cancel, keep, drop or go back."""
    desk, what = desk_of(request), form.get("what", "")
    done = ""
    try:
        if what == "train":
            desk.retraining.begin()
        elif what == "cancel":
            desk.retraining.cancel()
            done = "Training was cancelled. Nothing was changed."
        elif what == "keep":
            kept = desk.retraining.keep(form.get("why", ""))
            done = f"Model {kept.bundle} is in use."
        elif what == "drop":
            desk.retraining.drop()
            done = "The new model was thrown away."
        elif what == "back":
            done = f"Model {desk.retraining.back().bundle} is in use again."
    except InputError as fault:
        return _page(request, 422, sentence(str(fault)))
    return RedirectResponse(f"/model?{rendering.query({'done': done})}", 303)


def whole(request: Request) -> Response:
    """Return the whole page about how a model was judged, as one file that opens anywhere."""
    which = "new" if request.query_params.get("which") == "new" else "in-use"
    path = desk_of(request).retraining.page(new=which == "new")
    if path is None:
        raise HTTPException(404)
    return FileResponse(path, filename=f"accuracy-{which}.html", media_type="text/html")


async def progress(request: Request) -> Response:
    """Send how far training is, until it ends."""
    training = desk_of(request).retraining

    def now() -> Step | None:
        return Step(training.step, training.share) if training.running else None

    return progressing.stream(now)
