"""Judging a sheet: every rule is asked, every finding collected.

`SHEET_RULES` judge a tested sheet, `CONTRIBUTION_RULES` one that is to be contributed, and
`BUILD_RULES` a build that somebody asks about. Rules that need other sheets to compare with are
in `pipeline.neighbours`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.rules import conditions, given, parts, pulls

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from pipeline.sheet import Sheet
    from schemas.findings import Finding

    Rule = Callable[[Sheet], Iterator[Finding]]

BUILD_RULES: tuple[Rule, ...] = (
    given.required_of_build,
    given.ranges,
    parts.boost,
    parts.fits,
    parts.knock,
    parts.count,
)
SHEET_RULES: tuple[Rule, ...] = (
    given.required,
    given.ranges,
    given.degrees,
    given.humidity,
    given.pull_ranges,
    conditions.weather,
    conditions.station,
    conditions.certainty,
    parts.boost,
    parts.fits,
    parts.knock,
    parts.count,
    parts.piston_speed,
    pulls.enough_rpm,
    pulls.identity,
    pulls.mean_pressure,
    pulls.repeated,
    pulls.spikes,
    pulls.gaps,
    pulls.stuck,
    pulls.disagreeing,
)
CONTRIBUTION_RULES: tuple[Rule, ...] = (*SHEET_RULES, given.shop_named)

#: Findings after which there is nothing to judge.
_NO_SHEET = frozenset(
    {"not-readable", "too-large", "open-quote", "no-front-matter", "front-matter-unreadable",
     "pull-without-build"}
)  # fmt: skip


def judge(sheet: Sheet, rules: tuple[Rule, ...]) -> Sheet:
    """Add what the rules find to the sheet's findings and return the sheet."""
    if any(finding.code in _NO_SHEET for finding in sheet.findings):
        return sheet
    for rule in rules:
        for finding in rule(sheet):  # one by one: a rule sees what was found before
            sheet.findings.append(finding)
    return sheet
