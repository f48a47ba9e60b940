"""Builds made comparable: each given the first one's parts of a group, or of a field."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pullbook.schemas.errors import InputError, did_you_mean
from pullbook.schemas.fields import BUILD_FIELDS
from pullbook.schemas.part_groups import GROUPS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pullbook.pipeline.values.sheet import Build


class SamePartsError(InputError):
    """A name that is no group of parts and no field; the message lists what there is."""


def fields_of(names: Sequence[str]) -> list[str]:
    """Return the fields of groups of parts, and of fields named by themselves.

    Raises
    ------
    SamePartsError
        A name is neither.

    >>> fields_of(["compression", "Lobe separation"])
    ['compression_ratio', 'lobe_separation']
    """
    found: list[str] = []
    for name in names:
        plain = " ".join(name.casefold().replace("_", " ").replace("-", " ").split())
        field = plain.replace(" ", "_")
        if plain in GROUPS:
            found += GROUPS[plain]
        elif field in BUILD_FIELDS:
            found.append(field)
        else:
            known = [*GROUPS, *BUILD_FIELDS]
            msg = (
                f"{name!r} is neither a group of parts ({', '.join(GROUPS)}) nor a field."
                f"{did_you_mean(field, known)}"
            )
            raise SamePartsError(msg)
    return list(dict.fromkeys(found))


def with_same(builds: Sequence[Build], names: Sequence[str]) -> list[Build]:
    """Return builds with some parts of the first; what the first does not give, none of them gives.

    Raises
    ------
    SamePartsError
        A name is no group and no field.

    """
    first, *others = builds
    wanted = fields_of(names)
    taken = {name: first.given[name] for name in wanted if name in first.given}
    return [
        first,
        *(
            replace(
                build,
                values={k: v for k, v in build.given.items() if k not in wanted} | taken,
                derived=frozenset(),
            )
            for build in others
        ),
    ]
