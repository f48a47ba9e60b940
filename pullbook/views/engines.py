"""My engines: files in, what was read, what needs a decision, and the list of tests."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from starlette.responses import JSONResponse, RedirectResponse

from pullbook.guards.inside_folder import inside, plain_name
from pullbook.pipeline.builds.extended_build import ENDINGS
from pullbook.pipeline.checks.decisions import State
from pullbook.pipeline.reading.find_sheets import SHEET_FILES
from pullbook.schemas.errors import InputError
from pullbook.text import check_text
from pullbook.view_parts import asked, parameters, rendering
from pullbook.view_parts import progress as progressing
from pullbook.view_parts.rendering import desk_of
from pullbook.words.figures import counted
from pullbook.workspace import list_filter
from pullbook.workspace.folder import BUILDS, INBOX

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from starlette.requests import Request
    from starlette.responses import Response

    from pullbook.view_parts.progress import Step
    from pullbook.words.units import Units
    from pullbook.workspace.measured_tests import Test

    Files = Sequence[tuple[str, bytes]]

_PAGE, _MOST_QUESTIONS, _MOST_FAULTS = 50, 12, 20


@dataclass(frozen=True, slots=True)
class Row:
    """One test in the list."""

    test: Test
    units: Units

    @property
    def cells(self) -> list[str]:
        """Family, size, cam, date and what became of it."""
        sheet = self.test.sheet
        size, cam = sheet.displacement, sheet.number("intake_duration")
        return [
            str(sheet.values.get("family") or ""),
            "" if size is None else self.units.field("displacement", round(size, 1)),
            "" if cam is None else self.units.field("intake_duration", cam),
            str(sheet.values.get("tested_on") or ""),
            str(self.test.state),
        ]

    @property
    def fault(self) -> str:
        """Why it cannot be used, if so."""
        found = self.test.sheet.fault
        return "" if found is None else check_text.printable(found.message)


def view(request: Request) -> Response:
    """Show what is in the folder."""
    return _page(request)


def _page(request: Request, status: int = 200, fault: str = "") -> Response:
    desk = desk_of(request)
    asked_for = parameters.read(request.query_params)
    reading = desk.reading
    tests = list(reading.tests.values())
    wanted = list_filter.read(request.query_params)
    found = [one for one in tests if wanted.takes(one)]
    first = _PAGE * max(_whole(request.query_params.get("page", "1")) - 1, 0)
    rows = [Row(one, asked_for.units) for one in found[first : first + _PAGE]]
    amiss = [Row(one, asked_for.units) for one in reading.amiss[:_MOST_FAULTS]]
    return rendering.page(
        request, "engines", status, title="My engines", units=asked_for.units, rows=rows,
        total=len(tests), found=len(found), first=first, step=_PAGE, wanted=wanted,
        given=wanted.given, pending=reading.pending, fault=fault or reading.fault, asked=asked_for,
        summary=reading.summary if tests else [],
        questions=reading.questions[:_MOST_QUESTIONS],
        more=max(len(reading.questions) - _MOST_QUESTIONS, 0),
        amiss=amiss, amiss_more=max(len(reading.amiss) - _MOST_FAULTS, 0),
        passed_over=[path.name for path in reading.passed_over][:_MOST_FAULTS],
        families=reading.families,
        states=[str(state) for state in State], done=request.query_params.get("done", ""),
        endings=", ".join(SHEET_FILES),
    )  # fmt: skip


async def progress(request: Request) -> Response:
    """Send how far the reading of the folder is, until it ends."""
    tests = desk_of(request).folder.tests

    def now() -> Step | None:
        return None if tests.progress is None else rendering.reading_step(tests.progress)

    return progressing.stream(now)


def names(request: Request) -> Response:
    """Return the names of builds and tests that fit what is typed."""
    typed = request.query_params.get("q", "")
    return JSONResponse(asked.suggested(desk_of(request), typed, builds=True))


def names_of_tests(request: Request) -> Response:
    """Return the names of tests that fit what is typed."""
    typed = request.query_params.get("q", "")
    return JSONResponse(asked.suggested(desk_of(request), typed, builds=False))


def _whole(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 7 else 1


def add(request: Request, form: Mapping[str, str], files: Files) -> Response:
    """Save files that were dropped or chosen in the folder, and read them."""
    del form
    desk = desk_of(request)
    kept: list[str] = []
    left: list[str] = []
    names = {plain_name(name).casefold() for name, _ in files}
    # A pair of tables is read together, so it lies in a folder of its own.
    pair = {"builds.csv", "pulls.csv"} <= names
    for name, data in files:
        plain = plain_name(name)
        suffix = f".{plain.rsplit('.', 1)[-1].casefold()}"
        if suffix in SHEET_FILES:
            place = [INBOX, f"tables-{_next_pair(request)}"] if pair else [INBOX]
        elif suffix in ENDINGS and plain != desk.folder.settings.name:
            place = [BUILDS]
        else:
            left.append(plain)
            continue
        desk.folder.save_new(inside(desk.folder.top, *place, plain), data)
        kept.append(plain)
    if not kept:
        what = f"No sheet among them: {', '.join(left[:5])}. " if left else "No file was chosen. "
        return _page(request, 422, f"{what}Sheets end in {', '.join(SHEET_FILES)}.")
    done = f"{counted(len(kept), 'file')} saved"
    if left:
        done += f"; left out, since they are no sheets: {', '.join(left[:5])}"
    return RedirectResponse(f"/engines?{rendering.query({'done': done})}", 303)


def _next_pair(request: Request) -> int:
    inbox = desk_of(request).folder.top / INBOX
    return 1 + len(list(inbox.glob("tables-*"))) if inbox.is_dir() else 1


def decide(request: Request, form: Mapping[str, str]) -> Response:
    """Write the answer to a question into the settings file."""
    desk = desk_of(request)
    line = form.get("line", "")
    offered = {one for asked in desk.reading.questions for one in asked.lines}
    if line not in offered:
        return _page(request, 409, "That question is no longer open: a file changed meanwhile.")
    try:
        desk.folder.add_settings([line])
    except InputError as fault:
        return _page(request, 422, str(fault))
    done = f"Decided: {line}. It is in {desk.folder.settings.name}."
    return RedirectResponse(f"/engines?{rendering.query({'done': done})}", 303)
