"""The report on a data set: sheets rejected and why, fields given, how shops read."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pullbook.charts import drawing
from pullbook.pipeline.curation import shop_consensus
from pullbook.pipeline.physics.correction_factors import REFERENCE
from pullbook.reports import curation_charts
from pullbook.reports.document import Page
from pullbook.schemas.fields import CURATED_FIELDS, FIELDS
from pullbook.schemas.finding_codes import CODES
from pullbook.schemas.severity import Severity
from pullbook.words import figures

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_SHOP_CHARS, _MOST_ROWS = 8, 60
_FEWEST = 5


def page(builds: pd.DataFrame, pulls: pd.DataFrame, findings: pd.DataFrame) -> Page:
    """Return the report on a curated data set.

    Parameters
    ----------
    builds, pulls, findings
        Curated tables.

    """
    made = Page("What is in the data set")
    _summary(made, builds, pulls, findings)
    _refused(made, findings)
    _warned(made, builds, findings)
    _coverage(made, builds)
    _numbers(made, builds)
    _corrections(made, builds)
    _shops(made, builds, pulls)
    _copies(made, findings)
    return made


def _summary(made: Page, builds: pd.DataFrame, pulls: pd.DataFrame, findings: pd.DataFrame) -> None:
    refused = _sheets(findings[findings["severity"] == Severity.REFUSE])
    replaced = _sheets(findings[findings["code"] == "same-sheet-again"])
    years = builds["tested_on"].dropna()
    span = f" tested from {years.min()} to {years.max()}" if len(years) else ""
    made.text(
        f"{len(builds)} sheets of {builds['shop'].nunique()} shops and"
        f" {builds['family'].nunique()} engine families{span}, with {len(pulls)} readings."
        f" {refused} sheets were rejected, and {replaced} were replaced by a later version. All"
        f" torque is in lb-ft at the flywheel ({REFERENCE}). A sheet with a warning stays in, but"
        " counts less in training."
    )


def _sheets(findings: pd.DataFrame) -> int:
    return len(findings[["source", "sheet_id"]].drop_duplicates())


def _by_code(findings: pd.DataFrame, severity: Severity) -> pd.Series:
    own = findings[findings["severity"] == severity]
    return (
        own[["source", "sheet_id", "code"]].drop_duplicates()["code"].value_counts().sort_index()
        .sort_values(ascending=False, kind="stable")
    )  # fmt: skip


def _items(counts: pd.Series) -> list[tuple[str, int]]:
    return list(zip(counts.index.tolist(), counts.tolist(), strict=True))


def _refused(made: Page, findings: pd.DataFrame) -> None:
    made.heading("Rejected sheets, and why")
    counts = _by_code(findings, Severity.REFUSE)
    if counts.empty:
        made.text("No sheet was rejected.")
        return
    made.text("A sheet with several errors counts under each.")
    made.table(
        ["code", "what was found", "sheets"],
        [[code, CODES[code].meaning, count] for code, count in _items(counts)],
    )
    made.picture(
        "curation_refused.svg",
        curation_charts.bars(
            "Rejected sheets by reason",
            counts.index.tolist(),
            counts.to_numpy(float),
            "rejected sheets",
        ),
        f"Rejected sheets by reason; most, {counts.iloc[0]}, for {counts.index[0]}.",
    )


def _warned(made: Page, builds: pd.DataFrame, findings: pd.DataFrame) -> None:
    made.heading("Warnings and notes")
    clean = int((builds["doubt_sd"] == 0).sum())
    made.text(
        f"{clean} of {len(builds)} sheets have no warning that makes them count less. A warning"
        " adds to the 2.5 % standard deviation of torque that any sheet has (common practice, no"
        " source); the larger the sum, the less the sheet counts. Notes and some warnings add 0:"
        " they only inform."
    )
    rows = []
    for severity in (Severity.WARN, Severity.NOTE):
        for code, count in _items(_by_code(findings, severity)):
            adds = f"{100 * CODES[code].sd:g}"
            rows.append([code, severity.value, CODES[code].meaning, adds, count])
    made.table(["code", "kind", "what was found", "adds, %", "sheets"], rows)


def _coverage(made: Page, builds: pd.DataFrame) -> None:
    made.heading("How often each field is given")
    share = builds[list(CURATED_FIELDS)].notna().mean().mul(100)
    share = share.sort_values(ascending=False, kind="stable")
    share.index = [FIELDS[str(name)].label for name in share.index]
    poor = share[share < 50].index.tolist()
    made.text(
        "Fields given on fewer than half of the sheets: "
        + (", ".join(poor) if poor else "none")
        + ". A missing field is estimated from the others, and widens the limits."
    )
    made.picture(
        "curation_fields.svg",
        curation_charts.bars(
            "How often each field is given",
            share.index.tolist(),
            share.to_numpy(),
            "sheets that give the field, %",
            most=100,
        ),
        f"Share of the sheets that give each field, from {share.iloc[0]:.0f} % down to"
        f" {share.iloc[-1]:.0f} %.",
    )


def _numbers(made: Page, builds: pd.DataFrame) -> None:
    made.heading("Numbers and their allowed ranges")
    names = [
        name
        for name in CURATED_FIELDS
        if FIELDS[name].numeric and builds[name].notna().sum() >= _FEWEST
    ]
    rows = []
    for name in names:
        number = builds[name].dropna().astype(float)
        quantiles = number.quantile([0, 0.05, 0.5, 0.95, 1]).tolist()
        low, high = FIELDS[name].low, FIELDS[name].high
        rows.append(
            [
                FIELDS[name].label,
                FIELDS[name].unit,
                *(f"{q:.4g}" for q in quantiles),
                f"{low:g} to {high:g}",
            ]
        )
    made.table(["field", "unit", "lowest", "5 %", "median", "95 %", "highest", "allowed"], rows)
    made.picture(
        "curation_numbers.svg",
        curation_charts.histograms(builds, names),
        "Distribution of each number over the sheets; each panel gives the allowed range, outside"
        " which a sheet is rejected.",
    )


def _corrections(made: Page, builds: pd.DataFrame) -> None:
    made.heading(f"How torque was converted to {REFERENCE}")
    stated = builds["stated_correction"].fillna(builds["correction"])
    table = pd.crosstab(stated.rename("correction"), builds["route"])
    routes = [r for r in ("stated", "weather", "nominal") if r in table]
    made.text(
        f"stated: the sheet is in {REFERENCE} already. weather: the sheet's own factor was undone"
        f" with its weather, and that of {REFERENCE} applied. nominal: no weather on the sheet, so"
        " a nominal ratio was used."
    )
    made.table(
        ["stated in", *routes],
        [[name, *(int(row[r]) for r in routes)] for name, row in table.iterrows()],
    )

    def draw(axes: Axes) -> None:
        left = np.zeros(len(table))
        for i, name in enumerate(routes):
            counts = table[name].to_numpy(float)
            axes.barh(table.index.tolist(), counts, left=left, color=drawing.COLOURS[i], label=name,
                      hatch=("", "//", "..")[i], edgecolor="white", linewidth=0)  # fmt: skip
            left += counts
        axes.invert_yaxis()
        axes.set_xlabel("number of sheets")
        axes.legend(frameon=False, loc="upper center", bbox_to_anchor=(0.5, 1.2), ncols=3)

    made.picture(
        "curation_corrections.svg",
        curation_charts.figure(
            draw, 0.9 + 0.45 * len(table), f"How torque was converted to {REFERENCE}"
        ),
        "Sheets by the correction they were stated in, and how they were converted.",
    )


def _shops(made: Page, builds: pd.DataFrame, pulls: pd.DataFrame) -> None:
    made.heading("How each shop reads")
    found = shop_consensus.readings_of_shops(builds, pulls)
    if found.empty:
        made.text("Too few sheets or shops to compare them.")
        return
    found = found.assign(percent=100 * np.expm1(found["offset"]), give=200 * found["error"])
    found = found.sort_values(["percent", "shop"], ignore_index=True)
    codes = found["shop"].str[:_SHOP_CHARS]
    made.text(
        "How high or low each shop reads against all shops, for the same builds. Shops with few"
        " sheets are shrunk towards 0. Plus or minus two standard errors. No torque is changed."
    )
    made.picture(
        "curation_shops.svg",
        curation_charts.dots(codes.tolist(), found["percent"].to_numpy(), found["give"].to_numpy()),
        f"How high or low each shop reads against all shops, with error bars: from"
        f" {found['percent'].iloc[0]:+.1f} to {found['percent'].iloc[-1]:+.1f} %.",
    )
    made.table(
        ["shop", "sheets", "reads, %", "plus or minus, %"],
        [
            [code, n, figures.difference(p), f"{g:.1f}"]
            for code, n, p, g in zip(
                codes, found["sheets"], found["percent"], found["give"], strict=True
            )
        ],
    )


def _copies(made: Page, findings: pd.DataFrame) -> None:
    made.heading("Copies and near-copies")
    own = findings[findings["code"].isin(["copy", "near-copy"])]
    if own.empty:
        made.text("No two sheets have the same curve.")
        return
    made.text(
        "Sheets with the same curve as another, reading by reading; together they count as one."
    )
    rows = own[["sheet_id", "message"]].drop_duplicates().to_numpy().tolist()
    made.table(["sheet", "what was found"], rows[:_MOST_ROWS])
    if len(rows) > _MOST_ROWS:
        made.text(f"And {len(rows) - _MOST_ROWS} more; findings.parquet has them all.")
