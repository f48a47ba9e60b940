"""Builds that were saved: plain build files in the folder `builds`."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, NamedTuple

from pullbook.guards.inside_folder import inside, plain_name
from pullbook.pipeline.builds import build_files, extended_build
from pullbook.schemas.errors import InputError
from pullbook.workspace import build_fields
from pullbook.workspace.folder import BUILDS

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from pullbook.pipeline.values.sheet import Build
    from pullbook.words.units import Units
    from pullbook.workspace.folder import Folder


class Saved(NamedTuple):
    """A saved build: its file, and what is in it."""

    path: Path
    build: Build


def builds(folder: Folder) -> list[Saved]:
    """Return the builds of a folder; a file that holds none is left out."""
    if folder.path is None:
        return []
    places = (folder.path, folder.path / BUILDS)
    files = [
        path
        for place in places
        if place.is_dir()
        for name in sorted(os.listdir(place))  # noqa: PTH208 - thousands of sheets may be there
        if name.casefold().endswith(extended_build.ENDINGS)
        and (path := place / name) != folder.settings
    ]
    found = []
    for path in files:
        try:
            (build,) = build_files.read(path)
        except (InputError, ValueError):
            continue
        if any(build.values.get(name) is not None for name in ("cylinders", "measured")):
            found.append(Saved(path, build))
    return found


def named(folder: Folder, name: str) -> Build | None:
    """Return the saved build of a name, if there is one."""
    return next((one.build for one in builds(folder) if one.build.sheet_id == name), None)


def save(folder: Folder, given: Mapping[str, str], units: Units, measured: str = "") -> Path:
    """Save the build of a form, with the test it starts from; one of that name is kept beside it.

    Raises
    ------
    InputError
        It cannot be saved.

    """
    name = plain_name(given.get("sheet_id", "").strip() or build_fields.UNNAMED)
    path = inside(folder.top, BUILDS, f"{name}.yaml")
    started = {**given, "measured": measured} if measured else given
    return folder.save_new(path, build_fields.as_file(started, units).encode())
