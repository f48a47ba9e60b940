"""Check one sheet against every rule and collect all findings.

`SHEET_RULES` are for a tested sheet, `CONTRIBUTION_RULES` for a sheet to contribute and
`BUILD_RULES` for a build to predict. Rules that compare a sheet with others are in
`pullbook.pipeline.checks.similar_sheets`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar

from pullbook.pipeline.checks import field_rules, part_rules, pull_rules, weather_rules

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.findings import Finding

    Rule = Callable[[Any], Iterator[Finding]]
    B = TypeVar("B", bound=Build)

BUILD_RULES: tuple[Rule, ...] = (
    field_rules.required_of_build,
    field_rules.ranges,
    part_rules.boost,
    part_rules.size,
    part_rules.fits,
    part_rules.knock,
    part_rules.count,
)
SHEET_RULES: tuple[Rule, ...] = (
    field_rules.required,
    field_rules.ranges,
    field_rules.degrees,
    field_rules.pull_ranges,
    weather_rules.contributed,
    weather_rules.contradicted,
    weather_rules.weather,
    weather_rules.station,
    weather_rules.certainty,
    part_rules.boost,
    part_rules.size,
    part_rules.fits,
    part_rules.knock,
    part_rules.count,
    part_rules.piston_speed,
    pull_rules.enough_rpm,
    pull_rules.identity,
    pull_rules.mean_pressure,
    pull_rules.repeated,
    pull_rules.spikes,
    pull_rules.gaps,
    pull_rules.stuck,
    pull_rules.disagreeing,
)
CONTRIBUTION_RULES: tuple[Rule, ...] = (*SHEET_RULES, field_rules.shop_named)

#: Findings that leave nothing to check.
_NO_SHEET = frozenset(
    {"not-readable", "too-large", "open-quote", "no-front-matter", "front-matter-unreadable",
     "pull-without-build"}
)  # fmt: skip


def judge(sheet: B, rules: tuple[Rule, ...]) -> B:
    """Add the findings of the rules to the sheet, and return the sheet."""
    if any(finding.code in _NO_SHEET for finding in sheet.findings):
        return sheet
    for rule in rules:
        for finding in rule(sheet):  # one by one: rules look at earlier findings
            sheet.findings.append(finding)
    return sheet
