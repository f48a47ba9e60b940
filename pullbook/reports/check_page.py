"""A check of sheets as a page: what to decide, the pulls over one another, and every sheet.

The page is one file without a script: its filter is made of buttons and style sheets alone.
"""

from __future__ import annotations

import base64
from collections import Counter
from functools import cache
from typing import TYPE_CHECKING

from pullbook.pipeline.checks import decisions, standing_out
from pullbook.pipeline.checks.decisions import State
from pullbook.reports import document
from pullbook.schemas.finding_codes import CODES
from pullbook.schemas.severity import Severity
from pullbook.text import check_text
from pullbook.words.figures import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from jinja2 import Template

    from pullbook.pipeline.values.sheet import Sheet

_KINDS = {Severity.REFUSE: "error", Severity.WARN: "warning", Severity.NOTE: "note"}
_MOST_KINDS = 24


def html(sheets: Sequence[Sheet]) -> str:
    """Return the page."""
    states = {id(sheet): decisions.state_of(sheet) for sheet in sheets}
    in_state = Counter(states.values())
    kinds = Counter(
        finding_code
        for sheet in sheets
        for finding_code in {f.code for f in sheet.findings if f.severity is not Severity.NOTE}
    )
    shown = [state for state in reversed(State) if in_state[state]]
    listed = [code for code, _ in kinds.most_common(_MOST_KINDS)]
    filters = [
        f"all ({len(sheets)})",
        *(f"{state} ({in_state[state]})" for state in shown),
        *(f"{CODES[code].meaning} ({kinds[code]})" for code in listed),
    ]
    places = {one: place for place, one in enumerate([*shown, *listed], 1)}
    ranked = sorted(sheets, key=lambda sheet: shown.index(states[id(sheet)]))
    picture, says = _picture(sheets)
    page = _template().render(
        title=f"Check of {counted(len(sheets), 'sheet')}",
        summary=check_text.summary(sheets),
        questions=[
            {"count": counted(len(one.sheets), "sheet"), "text": one.text, "lines": one.lines}
            for one in decisions.questions(sheets)
        ],
        filters=filters,
        sheets=[_entry(sheet, states[id(sheet)], places) for sheet in ranked],
        picture=picture,
        picture_says=says,
    )
    return document.secured(page)


def _entry(sheet: Sheet, state: State, places: dict[str, int]) -> dict[str, object]:
    own = {state, *(finding.code for finding in sheet.findings)}
    order = list(_KINDS)
    findings = sorted(sheet.findings, key=lambda finding: order.index(finding.severity))
    return {
        "name": check_text.printable(sheet.sheet_id),
        "source": check_text.printable(sheet.source),
        "state": str(state),
        "classes": " ".join(f"c{places[one]}" for one in own if one in places),
        "findings": [
            {
                "kind": _KINDS[finding.severity],
                "row": finding.row,
                "message": check_text.printable(finding.message),
            }
            for finding in findings
        ],
    }


def _picture(sheets: Sequence[Sheet]) -> tuple[str, str]:
    laid = standing_out.lay_over(sheets)
    if not laid:
        return "", ""
    import matplotlib as mpl

    from pullbook.charts import drawing, pulls_chart

    with mpl.rc_context(drawing.STYLE):
        svg = drawing.svg_of(pulls_chart.figure(laid))
    out = [one for one in laid if one.off]
    named = ", ".join(f"{check_text.printable(o.sheet_id)} ({100 * o.off:+.0f} %)" for o in out[:6])
    says = (
        f"Torque per cubic inch of {counted(len(laid), 'pull')} by engine family. Standing out:"
        f" {named}."
        if out
        else f"Torque per cubic inch of {counted(len(laid), 'pull')} by engine family; none stands"
        " out."
    )
    return base64.b64encode(svg).decode(), says


@cache
def _template() -> Template:
    from jinja2 import Environment, PackageLoader

    environment = Environment(loader=PackageLoader("pullbook.reports"), autoescape=True,
                              trim_blocks=True, lstrip_blocks=True)  # fmt: skip
    return environment.get_template("check.html")
