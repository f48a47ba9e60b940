"""The drift page: what is new, how it differs, and how accurate the model in use is on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import matplotlib as mpl
import numpy as np

from pullbook.charts import drawing
from pullbook.charts.drawing import svg_of
from pullbook.model.evaluation import bootstrap
from pullbook.model.evaluation.prediction_errors import LEVELS
from pullbook.model.review import shop_reads
from pullbook.pipeline.builds.engine_groups import ENGINE
from pullbook.pipeline.physics.correction_factors import REFERENCE
from pullbook.reports.document import Page
from pullbook.text.prediction_text import PLACE
from pullbook.words.figures import counted
from pullbook.words.units import label

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from pullbook.model.review.drift import Drift
    from pullbook.model.review.moved_fields import Moved
    from pullbook.model.review.shop_reads import ShopReads

RECORD = "record.csv"
_KNOWN = " Sheets of a shop it knows are compared with that shop's limits."
_SHOP_CHARS, _MOST_ROWS = 8, 40


def page(found: Drift, record: pd.DataFrame) -> Page:
    """Return the drift page; ``record`` is the growing one, this batch included."""
    made = Page("What is new since the model in use was trained")
    _summary(made, found)
    _doubts(made, found.doubts)
    _fair_test(made, found, record)
    if _alone(found):
        _own_dyno(made, found.shops)
    else:
        _shops(made, found.shops)
    _fields(made, found.fields)
    _standing(made, found)
    _changed(made, found)
    return made


def _alone(found: Drift) -> bool:
    """Whether all is of one shop."""
    return found.held_out == ENGINE and found.record["shops"] == 1


def _summary(made: Page, found: Drift) -> None:
    line, came = found.record, found.arrivals
    alone = _alone(found)
    shops = "" if alone else f" of {counted(line['shops'], 'shop')}"
    new_shops = "" if alone else f"{line['new_shops']} of the shops and "
    families = f": {_listed(came.new_families)}" if came.new_families else ""
    made.text(
        f"{counted(line['sheets'], 'new sheet')}{shops} in data version {line['data']}."
        f" New: {new_shops}{len(came.new_families)} of the engine families"
        f"{families}. {len(came.changed)} earlier sheets have changed, and"
        f" {len(came.gone)} are gone. The model in use, bundle {line['bundle']}, has learned from"
        f" none of the new sheets. Torque is at the flywheel ({REFERENCE})."
    )


def _doubts(made: Page, doubts: Sequence[str]) -> None:
    made.heading("Are the new sheets fit to learn from?")
    if not doubts:
        made.text("Yes: no unit, correction or dyno looks wrong.")
        return
    made.text("Check these before training on the new sheets:")
    made.table(["doubt"], [[one] for one in doubts])


def _fair_test(made: Page, found: Drift, record: pd.DataFrame) -> None:
    made.heading("Accuracy of the model in use on the new sheets")
    line = found.record
    made.text(
        f"The model has never seen these sheets. Its error on them is {line['rms']:.2f} % rms"
        f" (median sheet {line['median_sheet']:.2f} %), and they read {line['reads_high']:+.2f} %"
        " against it on average." + ("" if _alone(found) else _KNOWN)
    )
    levels = [level for level in LEVELS if line[f"reading_{level}"] is not None]
    if levels:
        made.picture(
            "drift_coverage.svg",
            _coverage(found, levels),
            "Share of new readings inside the limits of the model in use, by level, with 90 %"
            f" limits over {found.held_out}s; the line is the level itself. "
            + ", ".join(
                f"{100 * line[f'reading_{one}']:.1f} % at {100 * one:g} %" for one in levels
            )
            + ".",
        )
    else:
        made.text("It has no limits: they need sheets of more shops, or of more engines of one.")
    made.text("All batches so far:")
    made.table(
        ["data", "bundle", "new sheets", "shops", "new shops", "rms, %", "median, %", "reads, %",
         "outside, %", *(f"inside {100 * one:g} % limits, %" for one in LEVELS),
         "curves inside 90 % limits, %"],
        [
            [r["data"][:_SHOP_CHARS], r["bundle"][:_SHOP_CHARS], r["sheets"], r["shops"],
             r["new_shops"], f"{r['rms']:.2f}", f"{r['median_sheet']:.2f}",
             f"{r['reads_high']:+.2f}", f"{100 * r['outside']:.1f}",
             *(_share(r[f"reading_{one}"]) for one in LEVELS), _share(r["curve_0.9"])]
            for r in record.to_dict(orient="records")
        ],
    )  # fmt: skip


def _share(value: float | None) -> str:
    return "" if value is None or np.isnan(value) else f"{100 * value:.1f}"


def _shops(made: Page, shops: Sequence[ShopReads]) -> None:
    if not shops:
        return
    made.heading("How the shops read")
    made.text(
        "Compared with what the model expects: for a shop it knows, that shop's own readings so"
        " far; for any other, the average of all. Sheets outside the data are left out. A shop is"
        f" in doubt if it has {shop_reads.FEWEST_SHEETS} new sheets or more and is off by more"
        f" than {shop_reads.ERRORS:g} standard errors, and by more than {100 * shop_reads.OFF:g} %"
        f" if the model knows it or {100 * shop_reads.OFF_NEW:g} % if not. A smaller error may be"
        " real too, but does"
        " not show."
    )
    ordered = sorted(shops, key=lambda one: (not one.known, one.offset))
    made.picture(
        "drift_shops.svg",
        _readings(ordered),
        "How far the new sheets of each shop read above or below what the model expects, in %,"
        " with two standard errors; filled dots: shops it knows, hollow dots: others."
        f" {sum(one.doubtful for one in shops)} of {len(shops)} are in doubt.",
    )
    furthest = sorted(shops, key=lambda one: (not one.doubtful, -abs(one.offset)))
    made.table(
        ["shop", "known", "new sheets", "reads, %", "two standard errors", "in doubt"],
        [
            [one.shop[:_SHOP_CHARS], "yes" if one.known else "no", one.sheets,
             f"{100 * np.expm1(one.offset):+.1f}", f"{200 * one.error:.1f}",
             "yes" if one.doubtful else ""]
            for one in furthest[:_MOST_ROWS]
        ],
    )  # fmt: skip


def _own_dyno(made: Page, shops: Sequence[ShopReads]) -> None:
    """Say how the one dyno reads now; nothing where no new sheet is like the data."""
    for one in shops:
        made.heading("How your dyno reads now")
        were = "is" if one.sheets == 1 else "are"
        read = "reads" if one.sheets == 1 else "read"
        made.text(
            f"{counted(one.sheets, 'new sheet')} {were} like what was tested before, and {read}"
            f" {100 * np.expm1(one.offset):+.1f} % against it (two standard errors:"
            f" {200 * one.error:.1f} %). The dyno is in doubt if {shop_reads.FEWEST_SHEETS} such"
            f" sheets or more are off by more than {shop_reads.ERRORS:g} standard errors and by"
            f" more than {100 * shop_reads.OFF:g} %. A smaller error may be real too, but does not"
            " show; engines that are run again show it best."
        )


def _fields(made: Page, moved: Sequence[Moved]) -> None:
    made.heading("How the builds differ from earlier ones")
    drifted = sum(one.drifted for one in moved)
    made.text(
        f"{drifted} of {len(moved)} fields have drifted; they come first. Shift: in standard"
        " deviations of a number, or the share of engines that would need another choice; an engine"
        " with many sheets counts once. Beyond: new sheets outside the earlier range, or with a new"
        " choice."
    )
    made.table(
        ["field", "given before", "given now", "before", "now", "shift", "beyond", "drifted"],
        [
            [label(one.field), f"{100 * one.given_before:.0f} %",
             f"{100 * one.given_now:.0f} %", _value(one.before), _value(one.now),
             "" if one.shift is None else f"{one.shift:.2f}", one.beyond,
             "yes" if one.drifted else ""]
            for one in moved
        ],
    )  # fmt: skip


def _value(value: object) -> str:
    if value is None:
        return ""
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def _standing(made: Page, found: Drift) -> None:
    made.heading("Are the new builds inside the data?")
    shares = found.sheets["standing"].value_counts(normalize=True)
    counts = ", ".join(
        f"{100 * float(shares.get(name, 0.0)):.0f} % {PLACE[name]}"
        for name in ("inside", "edge", "outside")
    )
    made.text(
        f"Of the new sheets: {counts} of the model in use. A model trained on them will know the"
        " combinations that are outside now."
    )
    if found.outside:
        made.table(["sheet", "why it is outside"], found.outside[:_MOST_ROWS])


def _changed(made: Page, found: Drift) -> None:
    came = found.arrivals
    if not came.changed and not came.gone:
        return
    made.heading("Sheets that changed or are gone")
    made.text(
        "A changed sheet was corrected by its shop, or altered by somebody else. A sheet that is"
        " gone was withdrawn, or rejected by a new check."
    )
    rows = [[name, "changed"] for name in came.changed]
    rows += [[name, "gone"] for name in came.gone]
    made.table(["sheet", "change"], rows[:_MOST_ROWS])
    if len(rows) > _MOST_ROWS:
        made.text(f"And {len(rows) - _MOST_ROWS} more.")


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")


def _coverage(found: Drift, levels: Sequence[float]) -> bytes:
    readings = found.readings
    by = [readings["shop"], readings["sheet_id"]]
    rows = []
    for level in levels:
        sheets = readings[f"inside_{level}"].groupby(by).mean()
        shops = sheets.groupby("shop").mean().to_numpy(float)
        rows.append(bootstrap.limits(shops, range(len(shops)), lambda drawn: float(drawn.mean())))
    inside, low, high = 100 * np.array(rows).T
    with mpl.rc_context({**drawing.STYLE, "font.size": 9}):
        figure, axes = drawing.panel(3.1)
        drawing.page_title(figure, "Do the limits hold on the new sheets?")
        promised = 100 * np.array(levels)
        axes.plot([40, 100], [40, 100], color="#8b9096", linewidth=1)
        axes.errorbar(promised, inside, yerr=np.abs([inside - low, high - inside]), fmt="o",
                      color=drawing.COLOURS[0], markersize=5, elinewidth=1)  # fmt: skip
        axes.set_xlabel("level of the limits, %")
        axes.set_ylabel("new readings inside, %")
        return svg_of(figure)


def _readings(shops: Sequence[ShopReads]) -> bytes:
    with mpl.rc_context({**drawing.STYLE, "font.size": 9}):
        figure, axes = drawing.panel(1.2 + 0.24 * len(shops))
        drawing.page_title(figure, f"How the new sheets of each shop read ({REFERENCE})")
        axes.axvline(0, color="#8b9096", linewidth=1)
        for place, one in enumerate(shops):
            colour = drawing.COLOURS[1] if one.doubtful else drawing.COLOURS[0]
            axes.errorbar(100 * one.offset, place, xerr=200 * one.error, fmt="o", color=colour,
                          markersize=5, elinewidth=1,
                          markerfacecolor=colour if one.known else "white")  # fmt: skip
        axes.set_yticks(
            range(len(shops)),
            [f"{one.shop[:_SHOP_CHARS]} ({one.sheets}){' !' if one.doubtful else ''}"
             for one in shops],
        )  # fmt: skip
        axes.invert_yaxis()
        axes.set_xlabel("reads above what the model expects, %")
        return svg_of(figure)
