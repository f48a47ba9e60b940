"""The comparison of two bundles, for the terminal and as a page."""

from __future__ import annotations

from typing import TYPE_CHECKING

import matplotlib as mpl

from pullbook.charts import drawing
from pullbook.charts.drawing import svg_of
from pullbook.model.evaluation import accuracy
from pullbook.model.review.judgement import Apart, Verdict
from pullbook.pipeline.physics.correction_factors import REFERENCE
from pullbook.reports.document import Page
from pullbook.text.prediction_text import PLACE, wrap
from pullbook.words import figures

if TYPE_CHECKING:
    from pullbook.model.review.judgement import Judgement

_TITLES = {
    Verdict.BETTER: "The new bundle is better",
    Verdict.NO_WORSE: "The new bundle is no worse",
    Verdict.WORSE: "The new bundle is worse",
    Verdict.CANNOT_TELL: "Cannot tell which of the two bundles is better",
}


def rows(found: Judgement) -> list[list[str]]:
    """Return a row for each figure: its name, old, new, the difference and its limits."""
    table = [
        [accuracy.FIGURES[name][2], *_cells(one, 0 if name.endswith("rpm") else 2)]
        for name, one in found.figures.items()
    ]
    if found.inside is not None:
        inside = Apart(*(100 * value for value in found.inside))
        table.append(
            [f"readings inside {figures.level(found.level)} limits, %", *_cells(inside, 1)]
        )
    return table


def _cells(one: Apart, least: int) -> list[str]:
    digits = one.digits(least)
    return [
        f"{one.old:.{digits}f}", f"{one.new:.{digits}f}", _signed(one.difference, digits),
        f"{_signed(one.low, digits)} to {_signed(one.high, digits)}",
    ]  # fmt: skip


def _signed(value: float, digits: int) -> str:
    """Return a number with its sign; zero has none."""
    text = f"{value:+.{digits}f}"
    return text if float(text) else text[1:]


def _sides(found: Judgement) -> list[list[str]]:
    """Return rows of what has no difference worth giving."""
    both = (found.old, found.new)
    level = str(found.level)
    table = [
        ["bundle", *(side.id for side in both)],
        ["sheets learned from", *(str(side.sheets) for side in both)],
        ["shops learned from", *(str(side.shops) for side in both)],
        ["median width of the limits, %", *(_of(side.width.get(level), 1) for side in both)],
        [
            "whole curves inside, %",
            *(_of_share(side.coverage["curve"].get(level)) for side in both),
        ],
    ]
    for name in found.old.standing:
        shares = (f"{100 * side.standing[name]:.0f}" for side in both)
        table.append([f"builds {PLACE[name]}, %", *shares])
    return table


def _of(value: float | None, digits: int) -> str:
    return "no limits" if value is None else f"{value:.{digits}f}"


def _of_share(value: float | None) -> str:
    return _of(None if value is None else 100 * value, 1)


def _worst(found: Judgement) -> str:
    """Return a sentence on the kind of sheet for which the limits of each hold least."""
    kinds = [
        f"{name} bundle {100 * one.inside:.1f} % inside ({100 * one.low:.1f} to"
        f" {100 * one.high:.1f} %), {_kind(one.name)}"
        for name, one in (("old", found.old.worst), ("new", found.new.worst))
        if one is not None
    ]
    if not kinds:
        return "Too little to say for which kind of sheet the limits hold least."
    return f"Where the {figures.level(found.level)} limits hold least: {'; '.join(kinds)}."


def _kind(name: str) -> str:
    """Return a kind of sheet in words, without the number of its tenth.

    >>> _kind("distance to the data: 10: from 0.778"), _kind("standing: edge")
    ('distance to the data from 0.778', 'standing edge')
    """
    by, _, what = name.partition(": ")
    return f"{by} {what.strip().rpartition(': ')[2]}"


def text(found: Judgement) -> str:
    """Return the comparison as lines for the terminal."""
    lines = [
        f"Judged on {found.sheets} sheets of {figures.counted(found.shops, found.held_out)} that"
        f" neither has learned from; torque at the flywheel ({REFERENCE}).",
        "Difference: new minus old.",
        f"{'':36}{'old':>9}{'new':>9}{'difference':>12}  90 % limits",
    ]
    lines += [f"{a:36}{b:>9}{c:>9}{d:>12}  {e}" for a, b, c, d, e in rows(found)]
    bundle, *sides = _sides(found)
    old, new = found.seconds
    sides.append(["seconds to predict all sheets", f"{old:.2f}", f"{new:.2f}"])
    lines += [f"{a:36}{b:>9}{c:>9}" for a, b, c in sides]
    lines += ["", f"Old bundle {bundle[1]}, new bundle {bundle[2]}.", wrap(_worst(found)), ""]
    lines.append(wrap(conclusion(found)))
    lines += [f"  {reason}" for reason in found.reasons]
    return "\n".join(lines)


def conclusion(found: Judgement) -> str:
    """Return the verdict as a sentence that also names what got worse by more than chance."""
    rose = [_moved(name, one) for name, one in found.figures.items() if one.low > 0]
    if found.inside is not None and found.inside.high < 0 and found.inside.new < found.level:
        rose.append(f"readings inside the limits ({100 * found.inside.difference:+.1f} %)")
    if not rose:
        return f"{_TITLES[found.verdict]}:"
    if found.verdict is Verdict.WORSE:
        fell = [_moved(name, one) for name, one in found.figures.items() if one.high < 0]
        but = f", but better in {', '.join(fell)}" if fell else ""
        return f"{_TITLES[found.verdict]}; beyond chance it is worse in {', '.join(rose)}{but}:"
    return f"{_TITLES[found.verdict]}, although beyond chance it is worse in {', '.join(rose)}:"


def _moved(name: str, one: Apart) -> str:
    """Return a figure in words, and by how much it rose or fell."""
    title, _, unit = accuracy.FIGURES[name][2].rpartition(", ")
    if unit == "rpm":
        title = f"speed of the {name.removesuffix('_rpm').replace('_', ' ')}"
    digits = one.digits(0 if unit == "rpm" else 2)
    return f"{title.removesuffix(', rms')} ({_signed(one.difference, digits)} {unit})"


def page(found: Judgement) -> Page:
    """Return the comparison as a page."""
    made = Page(_TITLES[found.verdict])
    made.text(
        f"Bundles {found.old.id} (old) and {found.new.id} (new) predicted the same {found.sheets}"
        f" sheets of {figures.counted(found.shops, found.held_out)} that neither has learned from."
        f" Torque at the flywheel ({REFERENCE}). A difference is new minus old, sheet by sheet; its"
        f" 90 % limits come from resampling whole {found.held_out}s."
    )
    made.heading(f"Verdict: {found.verdict.value}")
    made.text(f"{conclusion(found).removesuffix(':')}.")
    made.table(["reason"], [[reason] for reason in found.reasons])
    made.heading("Accuracy")
    made.picture(
        "judge_errors.svg",
        _picture(found),
        "Error, score and peaks of the new bundle minus those of the old one, in % of torque, with"
        f" 90 % limits over {found.held_out}s; left of the line the new one is better. "
        + "; ".join(f"{row[0]} {row[3]}" for row in rows(found) if "rpm" not in row[0])
        + ".",
    )
    made.table(["figure", "old", "new", "difference", "90 % limits"], rows(found))
    made.heading("Other differences")
    made.table(["figure", "old", "new"], _sides(found))
    made.text(_worst(found))
    return made


def _picture(found: Judgement) -> bytes:
    shown = {n: one for n, one in found.figures.items() if not n.endswith("rpm")}
    with mpl.rc_context({**drawing.STYLE, "font.size": 9}):
        figure, axes = drawing.panel(1.2 + 0.27 * len(shown))
        drawing.page_title(figure, f"New bundle against old ({REFERENCE})")
        axes.axvline(0, color="#8b9096", linewidth=1)
        for place, one in enumerate(shown.values()):
            ends = [[one.difference - one.low], [one.high - one.difference]]
            axes.errorbar(one.difference, place, xerr=[[max(0.0, e[0])] for e in ends], fmt="o",
                          color=drawing.COLOURS[0], markersize=5, elinewidth=1)  # fmt: skip
        titles = [accuracy.FIGURES[name][2].removesuffix(", %") for name in shown]
        axes.set_yticks(range(len(shown)), titles)
        axes.invert_yaxis()
        axes.set_xlabel("new minus old, % of torque")
        return svg_of(figure)
