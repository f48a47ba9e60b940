"""The page that lists every check, made from the codes and limits themselves."""

from __future__ import annotations

from pullbook.pipeline.checks.part_rules import FITS
from pullbook.reports.document import Page
from pullbook.schemas.fields import FIELDS, PULL_FIELDS
from pullbook.schemas.finding_codes import CODES
from pullbook.schemas.severity import Severity

_FOLLOWS = {
    Severity.REFUSE: "The sheet is rejected, and kept with its findings.",
    Severity.WARN: "The sheet is accepted. Where a figure is given, the sheet counts less in"
    " training: the figure is the relative standard deviation of torque that the warning adds.",
    Severity.NOTE: "How a sheet was read, or what was left out of it; no effect on the sheet.",
}


def page() -> Page:
    """Return the page."""
    made = Page("Every check of a sheet")
    made.text(
        "Limits are common practice, no source, unless the code names one. They are wide on"
        " purpose: the impossible is rejected, the rare only gets a warning."
    )
    for severity, follows in _FOLLOWS.items():
        own = {code: found for code, found in CODES.items() if found.severity is severity}
        made.heading({"refuse": "Errors", "warn": "Warnings", "note": "Notes"}[severity.value])
        made.text(follows)
        if severity is Severity.WARN:
            rows = [[c, f.meaning, f"{100 * f.sd:g}" if f.sd else ""] for c, f in own.items()]
            made.table(["code", "what was found", "adds, %"], rows)
        else:
            made.table(["code", "what was found"], [[c, f.meaning] for c, f in own.items()])
    made.heading("Parts that must fit together")
    made.text(
        "A sheet beyond the possible range is rejected; beyond the usual one it gets a warning."
    )
    made.table(
        ["code", "ratio or value", "possible", "usual"],
        [
            [
                f.code,
                f"{f.words} ({f.unit.strip()})" if f.unit else f.words,
                _span(f.can),
                _span(f.usual),
            ]
            for f in FITS
        ],
    )
    made.heading("Limits of each number")
    made.table(
        ["field", "unit", "allowed"],
        [
            [field.label, field.unit, _span((field.low or 0, field.high or 0))]
            for field in (*FIELDS.values(), *PULL_FIELDS.values())
            if field.numeric
        ],
    )
    return made


def _span(span: tuple[float, float]) -> str:
    return f"{span[0]:g} to {span[1]:g}"
