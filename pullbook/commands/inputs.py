"""Builds, bundle and shop as a user names them."""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, Any, NamedTuple

import typer

from pullbook.schemas.errors import InputError, must_exist

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from pathlib import Path

    from pullbook.model.answers.predictor import Predictor
    from pullbook.model.prediction.prediction import Prediction
    from pullbook.model.trained.pulls import Pull
    from pullbook.model.trained.start import Learned, Start
    from pullbook.pipeline.curation.read_own import OwnReader
    from pullbook.pipeline.settings.shop_settings import Settings
    from pullbook.pipeline.values.sheet import Build


#: Most notes about builds that are printed one by one.
_MOST_NOTES = 10


def load(bundle: Path | None, trust: Path | None = None) -> Predictor:
    """Return the predictor of a bundle, or of the one that comes with pullbook.

    With ``trust``, one of the keys in that file must have signed it.

    Raises
    ------
    BundleError
        It does not verify.

    """
    import pullbook

    found = pullbook.load(bundle, trust)
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
    from pullbook.schemas.severity import Severity

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
    from pullbook.pipeline.settings import shop_settings

    return None if path is None else shop_settings.load(path)


def own_reader(folders: Sequence[Path], settings: Path | None, key_file: Path | None) -> OwnReader:
    """Return what reads a shop's own sheets below folders, with the key if it has one."""
    from pullbook.pipeline.curation.read_own import OwnReader
    from pullbook.pipeline.privacy import key_file as keys

    there = key_file is not None or keys.default_path().exists()
    key = key_of(key_file) if there else None
    return OwnReader(tuple(folders), shop_settings(settings), key)


class Asked(NamedTuple):
    """Builds, the code of the shop that would test each, and the pulls that each starts from."""

    builds: list[Build]
    codes: list[str | None]
    starts: list[Start | Learned | None]


def ask(
    builds: Sequence[Build],
    predictor: Predictor,
    shop: str | None = None,
    key_file: Path | None = None,
    measured: Path | None = None,
    own: Sequence[Pull | None] | None = None,
) -> Asked:
    """Return builds with the shops that would test them, and the pulls that they start from.

    Parameters
    ----------
    builds
        The builds; the field ``shop`` of each counts where ``shop`` is ``None``.
    predictor
        What will answer. A model of one's own sheets knows shops and engines by their names.
    shop
        The shop that all would be tested by.
    key_file
        The key it contributed with; ``None`` means the user's own, if there is one.
    measured
        A file or folder of measured sheets.
    own
        The pull that came with each build, if any.

    Raises
    ------
    InputError
        The key cannot be used, or there are no measured sheets.

    """
    from pullbook.model.trained import find_starts, pulls

    found = [] if measured is None else pulls.pulls([measured])
    starts = find_starts.find_starts(builds, found, predictor.model, shop, own)
    names: list[object] = [shop or build.values.get("shop") for build in builds]
    if predictor.manifest["private"]:
        from pullbook.pipeline.curation.read_own import local_code

        names = [
            name or find_starts.measured_by(start)
            for name, start in zip(names, starts, strict=True)
        ]
        codes = [local_code(name) if isinstance(name, str) else None for name in names]
    else:
        codes = _codes(names, key_file)
    if not predictor.manifest["private"]:
        builds = [
            _coded(build, name, key_file) if code is not None else build
            for build, name, code in zip(builds, names, codes, strict=True)
        ]
    return Asked(list(builds), codes, starts)


def _coded(build: Build, shop: object, key_file: Path | None) -> Build:
    """Return a build whose engine goes by the code that its shop contributed it under."""
    from pullbook.pipeline.privacy import anonymise

    engine = build.values.get("engine")
    if not isinstance(engine, str):
        return build
    code = anonymise.engine_code(key_of(key_file), str(shop), engine)
    return replace(build, values={**build.given, "engine": code}, derived=frozenset())


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


def predictions(asked: Asked, predictor: Predictor) -> list[Prediction | None]:
    """Return the prediction of every build, ``None`` for one that cannot be predicted."""
    sound = [at for at, build in enumerate(asked.builds) if build.accepted]
    found: list[Prediction | None] = [None] * len(asked.builds)
    if sound:
        made = predictor.predictions(
            [asked.builds[at] for at in sound],
            [asked.codes[at] for at in sound],
            [asked.starts[at] for at in sound],
            alone=True,
        )
        for at, one in zip(sound, made, strict=True):
            found[at] = one
    return found


def must_be_sound(asked: Asked) -> Asked:
    """Return builds asked about, if all of them can be predicted.

    Raises
    ------
    InputError
        One cannot, since the sheet that it names as measured cannot be started from.

    """
    for build in asked.builds:
        if build.fault is not None:
            raise InputError(build.fault.message)
    return asked


def refusal(build: Build) -> dict[str, Any]:
    """Return what ``predict --json`` prints for a build that cannot be predicted."""
    fault = build.fault
    error = None if fault is None else {
        "code": fault.code, "field": fault.field, "message": fault.message
    }  # fmt: skip
    return {"sheet_id": build.sheet_id, "error": error}


def one_build(path: Path) -> Build:
    """Return the one build in a file.

    Raises
    ------
    InputError
        The file holds several builds, or one that cannot be predicted.

    """
    from pullbook.pipeline.builds import build_files

    builds = build_files.read(path)
    if len(builds) != 1:
        msg = f"{path} holds {len(builds)} builds; name a file with one"
        raise InputError(msg)
    if (fault := builds[0].fault) is not None:
        raise InputError(fault.message, file=path)
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
