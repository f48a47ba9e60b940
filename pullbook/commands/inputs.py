"""Builds, bundle and shop as a user names them."""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import typer

from pullbook.schemas.errors import InputError, must_exist

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from pathlib import Path

    from pullbook.model.answers.prediction import Prediction
    from pullbook.model.answers.predictor import Predictor
    from pullbook.pipeline.curation.read_own import OwnReader
    from pullbook.pipeline.reading.shop_settings import Settings
    from pullbook.pipeline.values.sheet import Build


#: Most notes about builds that are printed one by one.
_MOST_NOTES = 10


def load(bundle: Path | None) -> Predictor:
    """Return the predictor of a bundle, or of the one that comes with pullbook.

    Raises
    ------
    BundleError
        It does not verify.

    """
    import pullbook

    found = pullbook.load(bundle)
    if bundle is None:
        typer.echo(
            "No --bundle given: this answer comes from a model of invented engines, to show what an"
            " answer looks like.",
            err=True,
        )
    return found


def sound_builds(path: Path) -> tuple[list[Build], bool]:
    """Return the builds of a file that can be predicted, and whether others were left out.

    What was left out is printed.

    Raises
    ------
    NothingToReadError
        There is no such file, or none of its builds can be predicted.

    """
    from pullbook.pipeline.builds import build_files
    from pullbook.pipeline.reading import find_sheets

    found = build_files.read(path)
    for build in found:
        if build.fault is not None:
            typer.echo(f"{build.sheet_id} is left out: {build.fault.message}", err=True)
    print_notes(found)
    kept = [sheet for sheet in found if sheet.accepted]
    if not kept:
        msg = f"{path} holds no build that can be predicted"
        raise find_sheets.NothingToReadError(msg)
    return kept, len(kept) < len(found)


def print_notes(sheets: Sequence[Build], but: Collection[str] = ()) -> None:
    """Print what was left out of the builds, or read differently from how it was written.

    ``but`` are codes of findings that the answer itself tells.
    """
    from pullbook.schemas.finding_codes import Severity

    notes = [
        f.message if f.row is None or "row" in f.message else f"row {f.row}: {f.message}"
        for sheet in sheets
        for f in sheet.findings
        if f.severity is not Severity.REFUSE and f.code not in but
    ]
    for message in notes[:_MOST_NOTES]:
        typer.echo(message, err=True)
    if len(notes) > _MOST_NOTES:
        typer.echo(f"and {len(notes) - _MOST_NOTES} more like these", err=True)


#: Set to ``yes`` to use a key file that other users of the machine can read.
OPEN_KEY = "PULLBOOK_OPEN_KEY"


def key_of(path: Path | None, *, make: bool = False) -> bytes:
    """Return the key in a file; ``None`` means the user's own.

    With ``make``, one is made if there is none.

    Raises
    ------
    KeyFileError
        It cannot be used.
    InputError
        There is none.

    """
    from pullbook.pipeline.privacy import key_file

    path = path or key_file.default_path()
    allowed = os.environ.get(OPEN_KEY, "").casefold() == "yes"
    if make:
        return key_file.make(path, open_to_others=allowed)
    must_exist(path)
    return key_file.read(path, open_to_others=allowed)


def shop_settings(path: Path | None) -> Settings | None:
    """Return the settings in a file that is named; ``None`` takes those beside the sheets."""
    from pullbook.pipeline.reading import shop_settings

    return None if path is None else shop_settings.load(path)


def own_reader(folders: Sequence[Path], settings: Path | None, key_file: Path | None) -> OwnReader:
    """Return what reads a shop's own sheets below folders, with the key if it has one."""
    from pullbook.pipeline.curation.read_own import OwnReader
    from pullbook.pipeline.privacy import key_file as keys

    there = key_file is not None or keys.default_path().exists()
    key = key_of(key_file) if there else None
    return OwnReader(tuple(folders), shop_settings(settings), key)


def shop_codes(
    sheets: Sequence[Build], shop: str | None, key_file: Path | None
) -> list[str | None]:
    """Return the code of the shop that each build comes from.

    Parameters
    ----------
    sheets
        The builds; the field ``shop`` of each counts where ``shop`` is ``None``.
    shop
        The shop they all come from.
    key_file
        The key it contributed with; ``None`` means the user's own, if there is one.

    Raises
    ------
    KeyFileError
        The key cannot be used.

    """
    return _codes([shop or sheet.values.get("shop") for sheet in sheets], key_file)


def shop_code(shop: str | None, key_file: Path | None) -> str | None:
    """Return the code of a shop, as `shop_codes` does; of none, none."""
    return _codes([shop], key_file)[0]


def _codes(named: Sequence[object], path: Path | None) -> list[str | None]:
    from pullbook.pipeline.privacy import anonymise, key_file

    if not any(isinstance(name, str) for name in named):
        return [None] * len(named)
    if path is None and not key_file.default_path().exists():
        typer.echo(
            "No key found, so the limits are those for a new shop. Give the key that the shop"
            " contributed with: --key-file FILE",
            err=True,
        )
        return [None] * len(named)
    key = key_of(path)
    return [anonymise.code(key, name) if isinstance(name, str) else None for name in named]


def predictions(
    builds: Sequence[Build], codes: Sequence[str | None], predictor: Predictor
) -> list[Prediction | None]:
    """Return the prediction of every build, ``None`` for one that cannot be predicted."""
    sound = [at for at, build in enumerate(builds) if build.accepted]
    found: list[Prediction | None] = [None] * len(builds)
    if sound:
        made = predictor.predictions(
            [builds[at] for at in sound], [codes[at] for at in sound], look_into_missing=True
        )
        for at, one in zip(sound, made, strict=True):
            found[at] = one
    return found


def refusal(build: Build) -> dict[str, Any]:
    """Return what ``predict --json`` prints for a build that cannot be predicted."""
    fault = build.fault
    error = None if fault is None else {
        "code": fault.code, "field": fault.field, "message": fault.message
    }  # fmt: skip
    return {"sheet_id": build.sheet_id, "error": error}


class CompareError(InputError):
    """The builds or the band cannot be compared; the message says why."""


def one_build(path: Path) -> Build:
    """Return the one build in a file.

    Raises
    ------
    CompareError
        The file holds several builds, or one that cannot be predicted.

    """
    from pullbook.pipeline.builds import build_files

    builds = build_files.read(path)
    if len(builds) != 1:
        msg = f"{path} holds {len(builds)} builds; name a file with one"
        raise CompareError(msg)
    if (fault := builds[0].fault) is not None:
        raise CompareError(fault.message, file=path)
    return builds[0]


def named_apart(sheets: Sequence[Build], paths: Sequence[Path]) -> list[Build]:
    """Return builds with different names: where two have one name, the file name is added."""
    names = Counter(sheet.sheet_id for sheet in sheets)
    return [
        sheet
        if names[sheet.sheet_id] == 1
        else replace(sheet, sheet_id=f"{sheet.sheet_id} ({path.name})")
        for sheet, path in zip(sheets, paths, strict=True)
    ]


def check_band(builds: Sequence[Prediction], band: tuple[float, float]) -> str | None:
    """Return a warning where a band goes beyond the speeds that builds like these were tested at.

    Raises
    ------
    CompareError
        Builds like these were not tested anywhere in the band.

    """
    rpm = np.linspace(*band, 81)
    supported = np.all([one.supported(rpm) for one in builds], axis=0)
    if supported.all():
        return None
    grid = np.linspace(builds[0].speeds[0], builds[0].speeds[-1], 400)
    tested = grid[np.all([one.supported(grid) for one in builds], axis=0)]
    such = "a build like this one" if len(builds) == 1 else "builds like all of these"
    where = f"only from {tested[0]:.0f} to {tested[-1]:.0f} rpm" if len(tested) else "at no speed"
    asked = f"{band[0]:.0f} to {band[1]:.0f} rpm"
    if not supported.any():
        msg = f"{such} {_were(builds)} not tested from {asked}, {where}"
        raise CompareError(msg)
    return f"The band {asked} goes beyond the data: {such} {_were(builds)} tested {where}."


def _were(builds: Sequence[Prediction]) -> str:
    return "was" if len(builds) == 1 else "were"
