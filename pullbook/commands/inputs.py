"""From the builds a user names to answers, by whatever bundle and as whichever shop."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import typer

from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from pullbook.model.answers.prediction import Prediction
    from pullbook.model.answers.predictor import Predictor
    from pullbook.pipeline.values.sheet import Build


#: How many asides about builds are told one by one.
_MOST_ASIDES = 10


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
            "No bundle was named: this is answered from invented engines, to show what an answer"
            " looks like. Name your own with --bundle.",
            err=True,
        )
    return found


def sound_builds(path: Path) -> tuple[list[Build], bool]:
    """Return the builds in a file that nothing refuses, and whether others were left out.

    What was left out is said.

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
            typer.echo(f"{build.sheet_id} was left out: {build.fault.message}", err=True)
    tell_asides(found)
    kept = [sheet for sheet in found if sheet.accepted]
    if not kept:
        msg = f"{path} holds no build that can be predicted"
        raise find_sheets.NothingToReadError(msg)
    return kept, len(kept) < len(found)


def tell_asides(sheets: Sequence[Build]) -> None:
    """Say on the terminal what was left out of the builds, or read otherwise than written."""
    from pullbook.schemas.codes import Severity

    told = [
        f.message if f.row is None or "row" in f.message else f"row {f.row}: {f.message}"
        for sheet in sheets
        for f in sheet.findings
        if f.severity is not Severity.REFUSE
    ]
    for message in told[:_MOST_ASIDES]:
        typer.echo(message, err=True)
    if len(told) > _MOST_ASIDES:
        typer.echo(f"and {len(told) - _MOST_ASIDES} more like these", err=True)


def shop_codes(
    sheets: Sequence[Build], shop: str | None, key_file: Path | None
) -> list[str | None]:
    """Return the code of the shop that each build is said to come from.

    Parameters
    ----------
    sheets
        The builds; the field ``shop`` of each counts where ``shop`` is ``None``.
    shop
        The shop they are all said to come from.
    key_file
        The key it contributed with; ``None`` means the user's own, if there is one.

    Raises
    ------
    KeyFileError
        The named key file cannot be read.

    """
    return _codes([shop or sheet.values.get("shop") for sheet in sheets], key_file)


def shop_code(shop: str | None, key_file: Path | None) -> str | None:
    """Return the code of a shop, as `shop_codes` does; of none, none."""
    return _codes([shop], key_file)[0]


def _codes(named: Sequence[object], key_file: Path | None) -> list[str | None]:
    from pullbook.pipeline.privacy import anonymise

    clear = {name for name in named if isinstance(name, str) and not anonymise.is_code(name)}
    key = None
    if clear:
        path = key_file or anonymise.default_key_file()
        if key_file is not None or path.exists():
            key = anonymise.read_key(path)
        else:
            typer.echo(
                "No key was found: builds are answered as from a shop never seen. Name the key"
                " that the shop contributed with: --key-file",
                err=True,
            )
    return [_code(name, key) for name in named]


def _code(name: object, key: bytes | None) -> str | None:
    from pullbook.pipeline.privacy import anonymise

    if not isinstance(name, str) or anonymise.is_code(name):
        return name if isinstance(name, str) else None
    return None if key is None else anonymise.code(key, name)


def predictions(
    builds: Sequence[Build], codes: Sequence[str | None], predictor: Predictor
) -> list[Prediction | None]:
    """Return a prediction of every build that nothing refuses, ``None`` in the place of others."""
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
    """Return what ``predict --json`` prints in the place of a build that was refused."""
    fault = build.fault
    error = None if fault is None else {
        "code": fault.code, "field": fault.field, "message": fault.message
    }  # fmt: skip
    return {"sheet_id": build.sheet_id, "error": error}


class CompareError(InputError):
    """Builds or a band that cannot be compared; the message says why."""


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
    """Return builds of which no two go by one name: those that did get their file's beside it."""
    names = Counter(sheet.sheet_id for sheet in sheets)
    return [
        sheet
        if names[sheet.sheet_id] == 1
        else replace(sheet, sheet_id=f"{sheet.sheet_id} ({path.name})")
        for sheet, path in zip(sheets, paths, strict=True)
    ]


def check_band(builds: Sequence[Prediction], band: tuple[float, float]) -> str | None:
    """Return a warning where a band leaves what builds like these were swept over.

    Raises
    ------
    CompareError
        None of the band was swept over.

    """
    rpm = np.linspace(*band, 81)
    supported = np.all([one.supported(rpm) for one in builds], axis=0)
    if supported.all():
        return None
    grid = np.linspace(builds[0].speeds[0], builds[0].speeds[-1], 400)
    swept = grid[np.all([one.supported(grid) for one in builds], axis=0)]
    where = f"{swept[0]:.0f} to {swept[-1]:.0f} rpm" if len(swept) else "nowhere"
    said = f"the band {band[0]:.0f} to {band[1]:.0f} rpm"
    such = "such a build" if len(builds) == 1 else "builds like all of these"
    if not supported.any():
        msg = f"{said} was not swept with {such}; that was done from {where}"
        raise CompareError(msg)
    return f"{said} leaves what {such} was swept over, {where}"
