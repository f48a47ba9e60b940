"""Find the measured pull that each build names, and the other pulls of its engine."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from pullbook.model.trained import pulls as reading
from pullbook.model.trained.start import Learned, Start, StartError, check_same_engine
from pullbook.pipeline.checks import check_sheet
from pullbook.pipeline.physics.engine_quantities import DISPLACEMENT
from pullbook.pipeline.values.sheet import Build
from pullbook.schemas.errors import InputError, did_you_mean
from pullbook.schemas.findings import Finding

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.model.trained.pulls import Pull
    from pullbook.model.trained.trained_model import Model

FIELD = "measured"


def find_starts(
    builds: Sequence[Build],
    pulls: Sequence[Pull],
    model: Model,
    shop: str | None = None,
    own: Sequence[Pull | None] | None = None,
) -> list[Start | Learned | None]:
    """Return where the answer about each build starts; ``None`` where from no measured pull.

    What is wrong with the sheet that a build names is a finding that refuses the build. A build
    that leaves out the size of its engine takes it from the sheet.

    Parameters
    ----------
    builds
        The builds.
    pulls
        Measured pulls to choose from.
    model
        The model, whose own sheets may be named too.
    shop
        Name of the shop that would test all builds, where one is named.
    own
        The pull that came with each build, if any; it counts where the build names no other.

    """
    found: list[Start | Learned | None] = []
    for build, with_it in zip(builds, own or [None] * len(builds), strict=True):
        try:
            start = (
                Start(with_it, _of_engine(with_it, [with_it, *pulls]))
                if with_it is not None and build.values.get(FIELD) is None
                else _start(build, pulls, model, only=len(builds) == 1)
            )
            if start is not None:
                known = _sheet_of(start, model)
                check_same_engine(build, known)
                if isinstance(start, Start):
                    _check_dyno(known, shop)
                start = replace(start, sizes=_complete(build, known))
            found.append(start)
        except InputError as fault:
            row = build.rows.get(FIELD)
            build.findings.append(Finding("measured-not-usable", str(fault), FIELD, row))
            found.append(None)
    return found


def measured_by(start: Start | Learned | None) -> object:
    """Return the shop that measured the pull that an answer starts from, if its sheet names it."""
    return start.named.sheet.values.get("shop") if isinstance(start, Start) else None


def _start(
    build: Build, pulls: Sequence[Pull], model: Model, *, only: bool
) -> Start | Learned | None:
    name = build.values.get(FIELD)
    if name is None:
        engine = build.values.get("engine")
        own = [
            pull
            for pull in pulls
            if engine and pull.sheet.accepted and _alike(pull.sheet.values.get("engine"), engine)
        ]
        if own:
            return Start(own[-1], _of_engine(own[-1], pulls))
        return Start(pulls[0], (pulls[0],)) if only and len(pulls) == 1 else None
    named = [pull for pull in pulls if pull.sheet.sheet_id == name]
    if not named and len(pulls) == 1 and _is_file(pulls[0], str(name)):
        named = list(pulls)
    if not named and name in model.sheet_ids:
        return Learned(model.sheet_ids.index(str(name)))
    if not named:
        path = Path(build.source).parent / str(name)
        if path.is_file():
            there = reading.pull(path)
            return Start(there, _of_engine(there, [there, *pulls]))
        known = [pull.sheet.sheet_id for pull in pulls] + list(model.sheet_ids)
        msg = (
            f"the measured sheet {name} is neither among the sheets given with --measured, nor a"
            f" file, nor a sheet of the model.{did_you_mean(str(name), known)}"
        )
        raise StartError(msg)
    if len(named) > 1:
        msg = f"{len(named)} measured sheets are called {name}; give the path of the one to use"
        raise StartError(msg)
    return Start(named[0], _of_engine(named[0], pulls))


def _as_build(model: Model, at: int) -> Build:
    """Return a sheet that the model has learned from, as far as it tells engines apart."""
    row = model.fields.iloc[at]
    # A circle's model has engines under codes, and shops always.
    names = ("arrangement", "family", *(("engine",) * model.own_dyno))
    values = {name: row[name] for name in names if pd.notna(row[name])}
    sizes = (name for name in ("bore", "stroke", DISPLACEMENT) if pd.notna(row[name]))
    values |= {"cylinders": int(row["cylinders"]), **{name: float(row[name]) for name in sizes}}
    return Build(sheet_id=model.sheet_ids[at], source="", values=values)


def _complete(build: Build, known: Build) -> tuple[str, ...]:
    """Give a build the size it leaves to a sheet, check it with that, and return what it took."""
    taken = build.complete_size(known)
    if taken:
        check_sheet.judge(build, check_sheet.BUILD_RULES)
        build.findings[:] = dict.fromkeys(build.findings)
    return taken


def _sheet_of(start: Start | Learned, model: Model) -> Build:
    if isinstance(start, Learned):
        return _as_build(model, start.at)
    reading.sound(start.named)
    return start.named.sheet


def _check_dyno(sheet: Build, shop: str | None) -> None:
    measured_by = sheet.values.get("shop")
    if shop is not None and measured_by is not None and not _alike(measured_by, shop):
        msg = (
            f"the sheet {sheet.sheet_id} was measured on the dyno of {measured_by}, and"
            f" the answer is to be for {shop}; a pull of another dyno cannot be started from"
        )
        raise StartError(msg)


def _of_engine(named: Pull, pulls: Sequence[Pull]) -> tuple[Pull, ...]:
    """Return all sound pulls of the engine of one, that one first."""
    engine, shop = (named.sheet.values.get(field) for field in ("engine", "shop"))
    others = [
        pull
        for pull in pulls
        if pull is not named
        and pull.sheet.accepted
        and engine is not None
        and _alike(pull.sheet.values.get("engine"), engine)
        and _alike(pull.sheet.values.get("shop"), shop)
    ]
    return (named, *others)


def _alike(a: object, b: object) -> bool:
    return a == b or (a is not None and b is not None and str(a).casefold() == str(b).casefold())


def _is_file(pull: Pull, name: str) -> bool:
    return Path(pull.sheet.source).name == Path(name).name
