"""Add a line to a shop's settings file; what stands there, remarks included, stays."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

from pullbook.pipeline.files import front_matter, text_file
from pullbook.pipeline.settings import settings_schema, shop_settings
from pullbook.pipeline.settings.shop_settings import SettingsError
from pullbook.pipeline.storage import locks, whole_writes

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path


def add(path: Path, lines: Sequence[str]) -> None:
    """Add settings to a file, which is made if it is not there.

    Parameters
    ----------
    path
        The settings file.
    lines
        Settings as they would stand in the file, such as ``units: {torque: N.m}``. A mapping is
        added to the one that is there; another value takes the place of what is there.

    Raises
    ------
    SettingsError
        A line, or the file, is no settings; nothing is written then.

    """
    with locks.beside(path):
        _add(path, lines)


def _add(path: Path, lines: Sequence[str]) -> None:
    from ruamel.yaml import YAML  # noqa: PLC0415 - only to change a file, which keeps its remarks
    from ruamel.yaml.error import YAMLError  # noqa: PLC0415

    yaml = YAML()
    yaml.preserve_quotes = True
    yaml.width = 100
    before = text_file.read(path)[0] if path.exists() else ""
    try:
        there: Any = yaml.load(before) or {}
        if not isinstance(there, dict):
            msg = "there are no settings in it; write one 'name: value' per line"
            raise SettingsError(msg, file=path)
        for line in lines:
            _check(line)
            _merge(there, yaml.load(line))
    except YAMLError as error:
        msg = f"it cannot be changed: {str(error).splitlines()[0]}"
        raise SettingsError(msg, file=path) from error
    out = io.StringIO()
    yaml.dump(there, out)
    text = out.getvalue()
    if (fault := settings_schema.fault(front_matter.nested(text))) is not None:
        raise SettingsError(fault, file=path)
    part = whole_writes.part_of(path)
    whole_writes.write_text(part, _kept_head(before, there) + text)
    try:
        shop_settings.load(part)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def _kept_head(before: str, there: Any) -> str:
    """Return the remarks of a file that held nothing else: the library would drop them."""
    only_remarks = all(line.startswith("#") or not line.strip() for line in before.splitlines())
    return before if before and only_remarks and there else ""


def _check(line: str) -> None:
    try:
        given = front_matter.nested(line)
    except front_matter.FrontMatterError as error:
        msg = f"{line!r} is no setting: {error}"
        raise SettingsError(msg) from error
    if not given or (fault := settings_schema.fault(given)) is not None:
        msg = f"{line!r} is no setting. {fault if given else 'Write name: value'}"
        raise SettingsError(msg)


def _merge(there: Any, given: Any) -> None:
    for name, value in given.items():
        if isinstance(value, dict) and isinstance(there.get(name), dict):
            _merge(there[name], value)
        elif isinstance(value, list) and isinstance(there.get(name), list):
            there[name] += [one for one in value if one not in there[name]]
        else:
            there[name] = value
