"""A view as a page or as a fragment: the template, the figure, and what every page says."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache, cached_property
from typing import TYPE_CHECKING, Any

from markupsafe import Markup
from starlette.responses import HTMLResponse

from pullbook.charts import readout, svg_writer
from pullbook.view_parts.progress import Step, counted
from pullbook.words import broad_tables
from pullbook.words.units import Units, UnitSystem

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jinja2 import Environment
    from starlette.requests import Request

    from pullbook.drawings.chart import Chart
    from pullbook.workspace.folder import Folder
    from pullbook.workspace.measured_tests import Reading
    from pullbook.workspace.model_in_use import ModelInUse
    from pullbook.workspace.retraining import Retraining
    from pullbook.workspace.sharing import Sharing

#: Our script asks for a fragment with this header; who caches must keep the two apart.
FRAGMENT = "X-Pullbook-Fragment"
#: A word of more letters is broken where it must be.
_LONG = 20
#: The views in the order of the menu.
MENU = (
    ("/ask", "Ask"),
    ("/compare", "Compare"),
    ("/choose", "Choose"),
    ("/engines", "My engines"),
    ("/model", "My model"),
    ("/share", "Share"),
)


@dataclass(frozen=True)
class Desk:
    """What every view works with: the folder, the model that answers, and what goes on beside."""

    folder: Folder
    model: ModelInUse
    retraining: Retraining
    sharing: Sharing

    @cached_property
    def reading(self) -> Reading:
        """The tests of the folder, looked for once a request."""
        return self.folder.tests.read()


def desk_of(request: Request) -> Desk:
    """Return the desk of the page that a request came to, with the folder as it is now."""
    found: Desk = request.app.state.desk
    return replace(found)


@dataclass(frozen=True, slots=True)
class Figure:
    """A chart as a page shows it: drawn for desk and phone, with the numbers to read off."""

    chart: Chart

    @property
    def svg(self) -> Markup:
        """The drawings; the writer lets no text through as markup."""
        return Markup(svg_writer.both(self.chart))  # noqa: S704

    @property
    def numbers(self) -> str:
        """The numbers for the script."""
        return readout.as_json(self.chart)


def units_of(given: Mapping[str, str]) -> Units:
    """Return the units that a request asks for; inch where it names none."""
    return Units.METRIC if given.get("units") == UnitSystem.METRIC else Units.INCH


def page(request: Request, template: str, /, status: int = 200, **shown: Any) -> HTMLResponse:
    """Return a view as a page; as its fragment alone where our script asks for that."""
    part = request.headers.get(FRAGMENT)
    fragment = f"{template}_answer.html"
    wanted = fragment if part and fragment in environment().list_templates() else f"{template}.html"
    desk = desk_of(request)
    # What is read beside may end between a view and its page, which then says so all the same.
    pending = shown.pop("pending", None) or desk.folder.tests.progress
    text = environment().get_template(wanted).render(
        menu=MENU, here=request.url.path, desk=desk, units=shown.pop("units", Units.INCH),
        folder=desk.folder.path, reading=None if pending is None else reading_step(pending),
        **shown,
    )  # fmt: skip
    return HTMLResponse(text, status_code=status, headers={"Vary": FRAGMENT})


def reading_step(progress: tuple[int, int]) -> Step:
    """Return how far the reading of a folder is."""
    return counted("Reading your tests", progress, "files")


@cache
def environment() -> Environment:
    """Return the templates; whatever they are given is text and no markup."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(loader=PackageLoader("pullbook.views"), autoescape=True,
                       trim_blocks=True, lstrip_blocks=True, undefined=StrictUndefined)  # fmt: skip
    made.filters["query"] = query
    made.filters["width"] = width
    made.globals["is_broad"] = broad_tables.is_broad
    return made


def width(cell: str) -> str:
    """Return the class of a cell: ``short`` stays on one line, ``long`` breaks within a word.

    >>> width("260 to 322"), width("inside the data"), width("4cced446c7d15e9177b839ab54033635")
    ('short', '', 'long')
    """
    if max(map(len, cell.split()), default=0) > _LONG:
        return "long"
    return "short" if len(cell) < broad_tables.SHORT else ""


def query(given: Mapping[str, object]) -> str:
    """Return parameters as they stand in an address, empty ones left out.

    >>> query({"bore": "4 in", "stroke": "", "a": "x&y"})
    'bore=4+in&a=x%26y'
    """
    from urllib.parse import urlencode

    return urlencode({name: value for name, value in given.items() if value not in {"", None}})
