"""Builds as Python gives them: typed ones, a file, or fields by name."""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from pullbook.pipeline.builds import build_files
from pullbook.pipeline.values.sheet import Build
from pullbook.schemas.errors import InputError

#: What may be asked about: a build as read, a file of builds, or the fields of a build by name.
One = Build | str | Path | Mapping[str, object]


class BuildError(InputError):
    """A build that cannot be predicted; the message says which and why."""


def builds_of(given: One | Iterable[One]) -> list[Build]:
    """Return the builds given, one or several: as they are, or read by `read_builds`.

    Those given by fields alone are called by their place: ``build 1``, ``build 2``.

    Raises
    ------
    InputError
        There is no build, one cannot be predicted, or something else was given.

    Examples
    --------
    >>> six = {"cylinders": 6, "bore": 3.9, "stroke": 3.6}
    >>> [build.sheet_id for build in builds_of([six, {**six, "sheet_id": "long", "stroke": 3.8}])]
    ['build 1', 'long']

    """
    if isinstance(given, Build):
        return [given]
    if isinstance(given, str | Path | Mapping):
        return read_builds(given)
    each = list(given) if isinstance(given, Iterable) else [given]
    found: list[Build] = []
    for place, one in enumerate(each, start=1):
        if not isinstance(one, Build | str | Path | Mapping):
            msg = (
                f"{one!r} is no build; give what read_builds returned, a file of builds, or the"
                " fields of a build by name"
            )
            raise BuildError(msg)
        fields = {"sheet_id": f"build {place}", **one} if isinstance(one, Mapping) else one
        found += builds_of(fields)
    if not found:
        msg = "no build is given"
        raise BuildError(msg)
    return found


def read_builds(given: str | Path | Mapping[str, object]) -> list[Build]:
    """Return the builds of a file, or the one with the given fields.

    Whatever is left out of a build, or not read as written, gives a warning.

    Parameters
    ----------
    given
        A ``.yaml`` build, a sheet file or a table; or fields by name, numbers in the units of the
        field dictionary and texts as on a sheet (``"102 mm"``).

    Raises
    ------
    BuildError
        A build cannot be predicted.
    NothingToReadError
        There is no such file.

    Examples
    --------
    >>> (build,) = read_builds({"cylinders": 8, "bore": "102 mm", "stroke": 3.48})
    >>> round(build.displacement, 1)
    352.6

    """
    if isinstance(given, str | Path):
        builds = build_files.read(Path(given))
    else:
        builds = [build_files.of_fields(given)]
    for build in builds:
        if build.fault is not None:
            msg = f"{build.sheet_id}: {build.fault.message}"
            raise BuildError(msg)
        for found in build.findings:
            warnings.warn(f"{build.sheet_id}: {found.message}", stacklevel=2)
    return builds


def must_be_sound(builds: Sequence[Build]) -> None:
    """Raise for the first build that cannot be predicted.

    Raises
    ------
    BuildError
        A build has a fault.

    """
    for build in builds:
        if build.fault is not None:
            raise BuildError(build.fault.message)
