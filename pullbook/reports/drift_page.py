"""The drift page: what is new, how it differs, and what it says of the model in use."""

from __future__ import annotations

from typing import TYPE_CHECKING

import matplotlib as mpl
import numpy as np

from pullbook.charts import drawing
from pullbook.charts.drawing import svg_of
from pullbook.model.evaluation import bootstrap
from pullbook.model.evaluation.prediction_errors import LEVELS
from pullbook.model.review import drift
from pullbook.reports.document import Page

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from pullbook.model.review.drift import Drift, ShopReads
    from pullbook.model.review.moved_fields import Moved

RECORD = "record.csv"
_SHOP_CHARS, _MOST_ROWS = 8, 40


def page(found: Drift, record: pd.DataFrame) -> Page:
    """Return the drift page; ``record`` is the growing one, this batch included."""
    made = Page("What is new since the model in use was made")
    _summary(made, found)
    _doubts(made, found.doubts)
    _fair_test(made, found, record)
    _shops(made, found.shops)
    _fields(made, found.fields)
    _standing(made, found)
    _changed(made, found)
    return made


def _summary(made: Page, found: Drift) -> None:
    line, came = found.record, found.arrivals
    families = f": {_listed(came.new_families)}" if came.new_families else ""
    made.text(
        f"{line['sheets']} sheets of {line['shops']} shops are new in data version {line['data']};"
        f" {line['new_shops']} of the shops and {len(came.new_families)} of the engine families"
        f"{families} were not there before. {len(came.changed)} of the sheets were there and say"
        f" something else now, and {len(came.gone)} that were there are gone. The model in use is"
        f" bundle {line['bundle']}; it has learned from none of the new sheets."
    )


def _doubts(made: Page, doubts: Sequence[str]) -> None:
    made.heading("Whether they may be learned from")
    if not doubts:
        made.text("Nothing speaks against it: no unit, correction or dyno looks mistaken.")
        return
    made.text("Look into these before anything is learned from the new sheets:")
    made.table(["doubt"], [[one] for one in doubts])


def _fair_test(made: Page, found: Drift, record: pd.DataFrame) -> None:
    made.heading("What they say of the model in use")
    line = found.record
    made.text(
        f"Nobody could have tuned the model to these sheets. It errs by {line['rms']:.2f} % rms"
        f" (median sheet {line['median_sheet']:.2f}), and they read {line['reads_high']:+.2f} % on"
        " average against it. A sheet of a shop it knows is held against that shop's own limits."
    )
    levels = [level for level in LEVELS if line[f"reading_{level}"] is not None]
    if levels:
        made.picture(
            "drift_coverage.svg",
            _coverage(found, levels),
            "Share of new readings inside the limits of the model in use, by level, with 90 %"
            " limits over shops; the line is what was promised. "
            + ", ".join(f"{line[f'reading_{one}']:.3f} at {100 * one:g} %" for one in levels)
            + ".",
        )
    else:
        made.text("It has too few shops for limits.")
    made.text("The record of every batch so far:")
    made.table(
        ["data", "bundle", "new sheets", "shops", "new shops", "rms, %", "median, %", "reads, %",
         "outside, %", *(f"inside {100 * one:g} %" for one in LEVELS), "curves inside 90 %"],
        [
            [r["data"][:_SHOP_CHARS], r["bundle"][:_SHOP_CHARS], r["sheets"], r["shops"],
             r["new_shops"], f"{r['rms']:.2f}", f"{r['median_sheet']:.2f}",
             f"{r['reads_high']:+.2f}", f"{100 * r['outside']:.1f}",
             *(_share(r[f"reading_{one}"]) for one in LEVELS), _share(r["curve_0.9"])]
            for r in record.to_dict(orient="records")
        ],
    )  # fmt: skip


def _share(value: float | None) -> str:
    return "" if value is None or np.isnan(value) else f"{value:.3f}"


def _shops(made: Page, shops: Sequence[ShopReads]) -> None:
    if not shops:
        return
    made.heading("How the shops read")
    made.text(
        "Against what the model expects of each: of a shop it has learned from that shop's"
        " own reading so far, of any other the middle of all. Sheets that stand outside what was"
        f" tested are left out. In doubt is a shop with {drift.FEWEST_SHEETS} new sheets or more"
        f" that is off by more than {drift.ERRORS:g} standard errors, and by more than"
        f" {100 * drift.OFF:g} % if the model knows it, by more than {100 * drift.OFF_NEW:g} % if"
        " not. What is off by less than that may be so too, and not show."
    )
    ordered = sorted(shops, key=lambda one: (not one.known, one.offset))
    made.picture(
        "drift_shops.svg",
        _readings(ordered),
        "How far the new sheets of each shop read above or below what the model expects of it, in"
        " %, with two standard errors; filled dots are shops it has learned from, hollow ones"
        " others."
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


def _fields(made: Page, moved: Sequence[Moved]) -> None:
    made.heading("How the builds differ from earlier ones")
    drifted = sum(one.drifted for one in moved)
    made.text(
        f"{drifted} of {len(moved)} fields drifted, and stand first. A shift is told in standard"
        " deviations of a number, or as the share of sheets that would have to choose otherwise."
        " Beyond: new sheets that lie outside the earlier range, or have a choice not seen before."
    )
    made.table(
        ["field", "given before", "given now", "before", "now", "shift", "beyond", "drifted"],
        [
            [one.field.replace("_", " "), f"{100 * one.given_before:.0f} %",
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
    made.heading("Where they lie against what was tested before")
    shares = found.sheets["standing"].value_counts(normalize=True)
    told = ", ".join(
        f"{100 * float(shares.get(name, 0.0)):.1f} % {name}"
        for name in ("inside", "edge", "outside")
    )
    made.text(
        f"Of the new sheets {told} what the model in use was trained on. Those outside are"
        " combinations that a model which learns from them will have seen."
    )
    if found.outside:
        made.table(["sheet", "why it stood outside"], found.outside[:_MOST_ROWS])


def _changed(made: Page, found: Drift) -> None:
    came = found.arrivals
    if not came.changed and not came.gone:
        return
    made.heading("What changed or went")
    made.text(
        "A sheet that says something else than it did was corrected by its shop, or altered by"
        " somebody else. One that is gone was withdrawn, or refused by rules that are new."
    )
    rows = [[name, "says something else"] for name in came.changed]
    rows += [[name, "is gone"] for name in came.gone]
    made.table(["sheet", "what became of it"], rows[:_MOST_ROWS])
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
        figure, axes = drawing.panel(2.8)
        promised = 100 * np.array(levels)
        axes.plot([40, 100], [40, 100], color="#8b9096", linewidth=1)
        axes.errorbar(promised, inside, yerr=np.abs([inside - low, high - inside]), fmt="o",
                      color=drawing.COLOURS[0], markersize=5, elinewidth=1)  # fmt: skip
        axes.set_xlabel("level of the limits, %")
        axes.set_ylabel("% of new readings inside")
        return svg_of(figure)


def _readings(shops: Sequence[ShopReads]) -> bytes:
    with mpl.rc_context({**drawing.STYLE, "font.size": 9}):
        figure, axes = drawing.panel(0.9 + 0.24 * len(shops))
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
        axes.set_xlabel("% above what the model expects of the shop")
        return svg_of(figure)
