"""Builds, bundle and shop as a user names them."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from pullbook.arguments import messages
from pullbook.schemas.errors import InputError
from pullbook.tasks import own_key

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from pathlib import Path

    from pullbook.model.answers.predictor import Predictor
    from pullbook.model.trained.pulls import Pull
    from pullbook.pipeline.curation.read_own import OwnReader
    from pullbook.pipeline.settings.shop_settings import Settings
    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.findings import Finding
    from pullbook.tasks.questions import Asked


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
        messages.say(
            "No --bundle given: this answer comes from a model of invented engines,\n"
            "to show what an answer looks like."
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
            messages.say(f"{build.sheet_id} is left out: {build.fault.message}")
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
        f"{_where(sheet, f, apart=len(sheets) > 1)}{f.message}"
        for sheet in sheets
        for f in sheet.findings
        if f.severity is not Severity.REFUSE and f.code not in but
    ]
    for message in notes[:_MOST_NOTES]:
        messages.say(message)
    if len(notes) > _MOST_NOTES:
        messages.say(f"and {len(notes) - _MOST_NOTES} more like these")


def _where(build: Build, found: Finding, *, apart: bool) -> str:
    """Return which build a finding is about, of several, and its row, if people can see that."""
    kept = build.source.casefold().endswith(".json")
    row = "" if found.row is None or "row" in found.message or kept else f"row {found.row}"
    named = [build.sheet_id] if apart else []
    where = ", ".join([*named, *([row] if row else [])])
    return f"{where}: " if where else ""


def shop_settings(path: Path | None) -> Settings | None:
    """Return the settings in a file that is named; ``None`` takes those beside the sheets."""
    from pullbook.pipeline.settings import shop_settings

    return None if path is None else shop_settings.load(path)


def own_reader(folders: Sequence[Path], settings: Path | None, key_file: Path | None) -> OwnReader:
    """Return what reads a shop's own sheets below folders, with the key if it has one."""
    from pullbook.pipeline.curation.read_own import OwnReader
    from pullbook.pipeline.privacy import key_file as keys

    there = key_file is not None or keys.default_path().exists()
    key = own_key.key_of(key_file) if there else None
    return OwnReader(tuple(folders), shop_settings(settings), key)


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
    builds, predictor, shop, own
        As for `questions.ask`.
    key_file
        The key the shop contributed with; ``None`` means the user's own, if there is one.
    measured
        A file or folder of measured sheets.

    Raises
    ------
    InputError
        The key cannot be used, or there are no measured sheets.

    """
    from pullbook.model.trained import pulls
    from pullbook.tasks import questions

    found = [] if measured is None else pulls.pulls([measured])
    before = [len(build.findings) for build in builds]
    asked = questions.ask(builds, predictor, found, lambda: _key_if_any(key_file), shop, own)
    print_notes(
        [replace(one, findings=one.findings[n:]) for one, n in zip(builds, before, strict=True)]
    )
    return asked


def _key_if_any(path: Path | None) -> bytes | None:
    from pullbook.pipeline.privacy import key_file

    if path is None and not key_file.default_path().exists():
        messages.say(
            "No key found, so the limits are those for a new shop. Give the key that the shop"
            " contributed with: --key-file FILE"
        )
        return None
    return own_key.key_of(path)


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
