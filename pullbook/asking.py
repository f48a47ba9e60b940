"""From the builds a user names to answers, by whatever bundle and as whichever shop."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from model.answer import Answer
    from model.predictor import Predictor
    from model.sample import Floats
    from pipeline.sheet import Sheet


#: How many asides about builds are told one by one.
_MOST_ASIDES = 10


#: The bundle that comes with pullbook, of invented engines.
SHIPPED = "invented"


def load(bundle: Path | None) -> Predictor:
    """Return the predictor of a bundle, or of the one that comes with pullbook.

    Raises
    ------
    BundleError
        It does not verify.

    """
    from importlib.resources import as_file, files  # noqa: PLC0415

    from model import registry  # noqa: PLC0415
    from model.predictor import Predictor  # noqa: PLC0415

    if bundle is not None:
        return Predictor.load(registry.current(bundle))
    with as_file(files("pullbook") / SHIPPED) as folder:
        found = Predictor.load(folder)
    typer.echo(
        "No bundle was named: this is answered from invented engines, to show what an answer looks"
        " like. Name your own with --bundle.",
        err=True,
    )
    return found


def read_builds(path: Path) -> list[Sheet]:
    """Return the builds in a file, each with what was found in it.

    Raises
    ------
    NothingToReadError
        There is no such file, or it describes no builds.

    """
    from pipeline import checks, parse, read  # noqa: PLC0415

    raws = read.builds(path)
    if not raws:
        msg = f"{path} holds no builds"
        raise read.NothingToReadError(msg)
    return [checks.judge(parse.typed(raw), checks.BUILD_RULES) for raw in raws]


def sound_builds(path: Path) -> tuple[list[Sheet], bool]:
    """Return the builds in a file that nothing refuses, and whether others were left out.

    What was left out is said.

    Raises
    ------
    NothingToReadError
        There is no such file, or none of its builds can be predicted.

    """
    from pipeline import read  # noqa: PLC0415

    found = read_builds(path)
    for sheet in found:
        if not sheet.accepted:
            message = error(sheet)["error"]["message"]
            typer.echo(f"{sheet.sheet_id} was left out: {message}", err=True)
    tell_asides(found)
    kept = [sheet for sheet in found if sheet.accepted]
    if not kept:
        msg = f"{path} holds no build that can be predicted"
        raise read.NothingToReadError(msg)
    return kept, len(kept) < len(found)


def tell_asides(sheets: Sequence[Sheet]) -> None:
    """Say on the terminal what was left out of the builds, or read otherwise than written."""
    from schemas.findings import Severity  # noqa: PLC0415

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
    sheets: Sequence[Sheet], shop: str | None, key_file: Path | None
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
    from pipeline import anonymise  # noqa: PLC0415

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
    from pipeline import anonymise  # noqa: PLC0415

    if not isinstance(name, str) or anonymise.is_code(name):
        return name if isinstance(name, str) else None
    return None if key is None else anonymise.code(key, name)


def answers(
    sheets: Sequence[Sheet],
    codes: Sequence[str | None],
    predictor: Predictor,
    rpm: Floats,
    level: float,
) -> list[Answer | None]:
    """Return an answer for every build that nothing refuses, ``None`` in the place of others."""
    sound = [i for i, sheet in enumerate(sheets) if sheet.accepted]
    found: list[Answer | None] = [None] * len(sheets)
    if sound:
        given = predictor.predict([sheets[i] for i in sound], rpm, level, [codes[i] for i in sound])
        for i, answer in zip(sound, given, strict=True):
            found[i] = answer
    return found


def error(sheet: Sheet) -> dict[str, Any]:
    """Return what ``predict --json`` prints in the place of a build that was refused."""
    from schemas.findings import Severity  # noqa: PLC0415

    fault = next(f for f in sheet.findings if f.severity is Severity.REFUSE)
    error = {"code": fault.code, "field": fault.field, "message": fault.message}
    return {"sheet_id": sheet.sheet_id, "error": error}
