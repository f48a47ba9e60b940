"""The valve lift that a duration is stated at: 214 @ .050, 262 deg at 0.15 mm lift."""

from __future__ import annotations

import re

from pullbook.schemas.errors import InputError

_AT_LIFT = re.compile(
    r"(?P<unit>\D*?)\s*(?:@|\bat\b)\s*(?P<lift>\d{0,2}[.,]\d{1,3}|\d)\s*"
    r"(?:(?P<mm>mm)|in(?:ch(?:es)?)?\.?|\"|'')?(?:\s*lift)?",
    re.IGNORECASE,
)
#: The lift of a duration at 0.050 in, and the most that an advertised one is at, in: common
#: practice, no source.
_CHECKED, _MOST_SEAT = 0.05, 0.03
_SEAT = "_seat"


class OtherLiftError(InputError):
    """A duration at a lift that its field is not for; the message says where it belongs."""


def without_lift(rest: str, name: str) -> str:
    """Return what stands behind the number of a field without the lift it is stated at.

    Raises
    ------
    OtherLiftError
        The field is for durations at another lift.

    >>> without_lift("deg @ .050", "intake_duration"), without_lift("@ 1.27 mm", "intake_duration")
    ('deg', '')
    """
    at = _AT_LIFT.fullmatch(rest) if "_duration" in name else None
    if at is None:
        return rest
    lift = float(at["lift"].replace(",", ".")) / (25.4 if at["mm"] else 1)
    if name.endswith(_SEAT):
        fits, there = lift <= _MOST_SEAT, name.removesuffix(_SEAT)
        own, other = "the advertised duration", "the one at 0.050 in lift"
    else:
        fits, there = round(lift, 3) == _CHECKED, f"{name}{_SEAT}"
        own, other = "the duration at 0.050 in lift", "the advertised one"
    if fits:
        return at["unit"]
    msg = f"a duration at another lift. Give {own} here; {other} goes into {there}."
    raise OtherLiftError(msg)
