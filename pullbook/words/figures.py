"""Figures with the digits they deserve."""

from __future__ import annotations

import math
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
    return _signed(value, _digits([value]))


def differences(values: Sequence[float]) -> list[str]:
    """Return a column of differences with their signs, all to the same digit.

    >>> differences([28.2, -0.1]), differences([1.2, -0.4])
    (['+28', '0'], ['+1.2', '-0.4'])
    """
    digits = _digits(values)
    return [_signed(value, digits) for value in values]


def differences_with_limits(some: Sequence[Between]) -> list[tuple[str, str]]:
    """Return a column of differences and one of their limits, all to the same digit.

    >>> from pullbook.schemas.answer import Between
    >>> differences_with_limits([Between(28.2, -5.3, 61.0), Between(-0.1, None, None)])
    [('+28', '-5 to +61'), ('0', 'no limits')]
    """
    digits = _digits([one.value for one in some])
    return [
        (
            _signed(one.value, digits),
            "no limits"
            if one.low is None or one.high is None
            else f"{_signed(one.low, digits)} to {_signed(one.high, digits)}",
        )
        for one in some
    ]


def _digits(values: Sequence[float]) -> int:
    """Return how many decimals a column of differences has: one if all are small."""
    return 1 if all(abs(value) < _ONE_DECIMAL_BELOW for value in values) else 0


def _signed(value: float, digits: int) -> str:
    rounded = round(value, digits)
    return f"{rounded:+.{digits}f}" if rounded else "0"


def summands(values: Sequence[float]) -> list[str]:
    """Return the parts of a sum with their signs, rounded so that they still add up.

    All have one decimal if all are small, or none. Where rounding each by itself misses the sum,
    those that were nearest to being rounded the other way are: by the largest remainder.

    >>> summands([12.4, 0.4, 0.4]), summands([0.54, 0.54, -0.02])
    (['+13', '0', '0'], ['+0.6', '+0.5', '0'])
    >>> summands([-1.21, -2.73, 4.0])
    ['-1', '-3', '+4']
    """
    digits = _digits(values)
    scaled = [value * 10**digits for value in values]
    whole = [math.floor(value) for value in scaled]
    up = round(sum(scaled)) - sum(whole)
    largest = sorted(range(len(scaled)), key=lambda at: whole[at] - scaled[at])[:up]
    parts = [(one + (at in largest)) / 10**digits for at, one in enumerate(whole)]
    return [_signed(part, digits) for part in parts]


def over(band: tuple[float, float], asked: tuple[float, float] | None = None) -> str:
    """Return the engine speeds that a mean is over, and those asked for if that is only a part.

    >>> over((2000, 4500)), over((5500, 6000), (5500, 8000))
    ('from 2000 to 4500 rpm', 'from 5500 to 6000 rpm, the tested part of 5500 to 8000')
    """
    said = f"from {band[0]:.0f} to {band[1]:.0f} rpm"
    if asked is None or asked == band:
        return said
    return f"{said}, the tested part of {asked[0]:.0f} to {asked[1]:.0f}"


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


def short_of(share: float, level: float) -> str:
    """Return a chance in percent; one that only rounds to a level that it falls short of says so.

    >>> short_of(0.897, 0.9), short_of(0.62, 0.9), short_of(0.9, 0.9)
    ('just under 90 %', '62 %', '90 %')
    """
    said = percent(share)
    return f"just under {said}" if share < level and said == percent(level) else said


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
