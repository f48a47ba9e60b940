"""Where an answer starts: measured pulls of the same engine, before some parts were changed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from pullbook.schemas.errors import InputError
from pullbook.schemas.part_groups import SWAPPED

if TYPE_CHECKING:
    from collections.abc import Hashable, Iterable, Mapping

    from pullbook.model.trained.pulls import Pull
    from pullbook.pipeline.values.sheet import Build

#: A bore that differs by more than this share is of another engine, not of a rebuild.
_BORED = 0.04


class StartError(InputError):
    """A measured sheet that an answer cannot start from; the message says why."""


@dataclass(frozen=True, slots=True)
class Start:
    """Where the answer about a build starts.

    Attributes
    ----------
    named
        The measured pull that the build names.
    pulls
        All measured pulls of its engine, that one first.
    sizes
        The fields of the engine's size that the build leaves to that sheet.
    """

    named: Pull
    pulls: tuple[Pull, ...]
    sizes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Learned:
    """A start from a sheet that the model has learned from, at a position among its sheets."""

    at: int
    sizes: tuple[str, ...] = ()


def check_same_engine(build: Build, sheet: Build) -> None:
    """Raise if a build cannot be the engine of a sheet.

    Raises
    ------
    StartError
        Cylinders, arrangement, family, engine or, by more than a rebuild takes, bore differ.

    """
    for name in ("cylinders", "arrangement", "family", "engine", "shop"):
        a, b = build.values.get(name), sheet.values.get(name)
        if a is not None and b is not None and str(a).casefold() != str(b).casefold():
            where = "another shop's dyno" if name == "shop" else "another engine"
            msg = (
                f"{build.sheet_id}: the measured sheet {sheet.sheet_id} is of {where} ({name} {b},"
                f" the build has {a}); name a sheet of the same engine on the same dyno, or leave"
                " `measured` out"
            )
            raise StartError(msg)
    bores = build.number("bore"), sheet.number("bore")
    if bores[0] is not None and bores[1] is not None and abs(bores[0] / bores[1] - 1) > _BORED:
        msg = (
            f"{build.sheet_id}: the measured sheet {sheet.sheet_id} has a bore of {bores[1]:.4g} in"
            f" and the build one of {bores[0]:.4g} in, more than a rebuild takes, so it is another"
            " engine; name a sheet of the same engine, or leave `measured` out"
        )
        raise StartError(msg)


def take_over(
    build: Mapping[Hashable, Any], sheet: Mapping[Hashable, Any], changed: Iterable[str]
) -> dict[str, Any]:
    """Return what a build leaves out of parts that were not changed, as the sheet gives it.

    What was swapped is taken as the build gives it.
    """
    kept = [names for names in SWAPPED if not set(names) & set(changed)]
    names = ("family", *(name for names in kept for name in names))
    return {name: sheet[name] for name in names if pd.isna(build[name]) and pd.notna(sheet[name])}
