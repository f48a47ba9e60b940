"""Figures with the digits they deserve."""

from __future__ import annotations

import math
from itertools import accumulate, pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.schemas.answer import Between

#: Smaller differences have a decimal: a dyno does not tell more than whole lb-ft or hp.
_ONE_DECIMAL_BELOW = 1.95
_RPM_STEP = 50


def difference(value: float) -> str:
    """Return a difference with its sign: one decimal below 2, none above.

    >>> difference(1.32), difference(3.14), difference(-12.6), difference(-0.01)
    ('+1.3', '+3', '-13', '0')
    """
    if abs(value) < 0.05:
        return "0"
    return f"{value:+.1f}" if abs(value) < _ONE_DECIMAL_BELOW else f"{value:+.0f}"


def summands(values: Sequence[float]) -> list[str]:
    """Return the parts of a sum with their signs, rounded so that they still add up.

    All have one decimal if all are small, or none. Each is the step between rounded running
    totals, so it may be off by one in its last digit.

    >>> summands([12.4, 0.4, 0.4]), summands([0.54, 0.54, -0.02])
    (['+12', '+1', '0'], ['+0.5', '+0.6', '0'])
    """
    digits = 1 if all(abs(value) < _ONE_DECIMAL_BELOW for value in values) else 0
    totals = [round(total, digits) for total in accumulate(values, initial=0.0)]
    steps = [round(after - before, digits) for before, after in pairwise(totals)]
    return [f"{step:+.{digits}f}" if step else "0" for step in steps]


def small(value: float) -> str:
    """Return a gain per unit of something, with its sign and two digits, two decimals at most.

    >>> small(0.2191), small(0.039), small(-1.46), small(-13.2), small(0.004)
    ('+0.22', '+0.04', '-1.5', '-13', '0')
    """
    if abs(value) < 0.01:
        return "0"
    if abs(value) < 0.1:
        return f"{value:+.2f}"
    return f"{value:+.2g}" if abs(value) < 10 else f"{value:+.0f}"


def difference_limits(one: Between) -> str:
    """Return the limits of a difference, or that there are none."""
    if one.low is None or one.high is None:
        return "no limits"
    return f"{difference(one.low)} to {difference(one.high)}"


def percent(share: float) -> str:
    """Return a chance or a share in percent; never sure where it only rounds to that.

    >>> percent(0.387), percent(0.0004), percent(0.9996)
    ('39 %', '<1 %', '>99 %')
    """
    if share < 0.01:
        return "<1 %"
    return ">99 %" if share > 0.99 else f"{100 * share:.0f} %"


def percents(number: float) -> str:
    """Return a number of percent: whole, or with one decimal below 1.

    >>> percents(4.2), percents(0.42)
    ('4', '0.4')
    """
    return f"{number:.1f}" if abs(number) < 0.95 else f"{number:.0f}"


def speed(rpm: float) -> str:
    """Return the engine speed of a peak, which is known to 50 rpm at best.

    >>> speed(3612.4)
    '3600'
    """
    return f"{_RPM_STEP * round(rpm / _RPM_STEP):.0f}"


def in_ten(level: float) -> str:
    """Return a level in words.

    >>> in_ten(0.9), in_ten(0.95)
    ('9 in 10', '95 in 100')
    """
    tenths = 10 * level
    whole = abs(tenths - round(tenths)) < 1e-6
    return f"{tenths:.0f} in 10" if whole else f"{100 * level:.0f} in 100"


def level(share: float) -> str:
    """Return a level of limits in percent.

    >>> level(0.9), level(0.995), level(6 / 7)
    ('90 %', '99.5 %', '86 %')
    """
    number = 100 * share
    near = round(number, 1)
    return f"{near:g} %" if abs(number - near) < 1e-6 else f"{number:.0f} %"


def needed(share: float) -> int:
    """Return the number of shops or engines that limits at a level take.

    >>> needed(0.9), needed(0.95)
    (9, 19)
    """
    return math.ceil(1 / (1 - share) - 1 - 1e-6)


def sentence(text: str) -> str:
    """Return a text with a capital to start with.

    >>> sentence("intake lift 0.47 in")
    'Intake lift 0.47 in'
    """
    return f"{text[:1].upper()}{text[1:]}"


def counted(count: int, what: str) -> str:
    """Return a number of things in words.

    >>> counted(1, "sheet"), counted(2, "sheet")
    ('1 sheet', '2 sheets')
    """
    return f"{count} {what if count == 1 else plural(what)}"


def plural(what: str) -> str:
    """Return the plural of a thing.

    >>> plural("shop"), plural("family")
    ('shops', 'families')
    """
    return f"{what[:-1]}ies" if what.endswith("family") else f"{what}s"


def clear(at: float) -> str:
    """Return from which chance on a difference is clear; zero is then outside its limits.

    >>> clear(0.9)
    'A difference is clear where zero is outside its 90 % limits: a chance of 95 % or more.'
    """
    return (
        f"A difference is clear where zero is outside its {level(at)} limits: a chance of"
        f" {level((1 + at) / 2)} or more."
    )


def listed(names: Sequence[str], most: int = 3) -> str:
    """Return names as a list in words; of many the first ones and how many more there are.

    >>> listed(["a"]), listed(["a", "b"]), listed(["a", "b", "c", "d", "e"])
    ('a', 'a and b', 'a, b, c and 2 more')
    """
    if len(names) > most + 1:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    *before, last = names
    return f"{', '.join(before)} and {last}" if before else last
