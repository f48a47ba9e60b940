"""Read a parts list from a YAML file: parts to choose from, with a goal and limits.

It gives the build that the parts go into, the parts by kind, one goal and any number of limits::

    build:
      cylinders: 8
      bore: 4.03
      stroke: 3.48
      compression_ratio: 9.4
    parts:
      camshaft:
        - {name: short, intake_duration: 208, exhaust_duration: 214, price: 180}
        - {name: long, intake_duration: 226, exhaust_duration: 232, price: 210}
    goal: {mean_torque: 2000:4000}
    limits:
      torque: {over: 1800:4200, at_least: 250}
      price: {at_most: 900}
    loads:
      - propeller 150 hp @ 4000

Fields and units of builds and parts are those of a sheet.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import yaml

from pullbook.pipeline.builds.parts import (
    PRICE,
    TORQUE,
    Limit,
    Part,
    PartsList,
    PartsListError,
    band_of,
    goal_from,
    number_of,
)
from pullbook.pipeline.checks import checked_sheets
from pullbook.pipeline.files import text_file
from pullbook.pipeline.layout.raw_fields import add_field
from pullbook.pipeline.loads import read_load
from pullbook.pipeline.values import cells
from pullbook.pipeline.values.sheet import RawSheet
from pullbook.pipeline.vocabulary.headings import squash
from pullbook.schemas.errors import did_you_mean, must_exist
from pullbook.schemas.fields import BUILD_FIELDS, FIELDS, PULL_FIELDS
from pullbook.schemas.severity import Severity

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from pullbook.pipeline.values.sheet import Build
    from pullbook.schemas.on_request import Load

_SECTIONS = ("build", "parts", "goal", "limits", "loads")
_OF_PART = ("name", "price")


class _Loader(yaml.BaseLoader):
    """A loader of texts, lists and mappings only; a name that occurs twice is an error."""

    def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Any, Any]:
        """Return a mapping; refuse a second value for the same name."""
        seen = set()
        for key, _ in node.value:
            if key.value in seen:
                problem = f"{key.value!r} occurs twice; keep one"
                raise yaml.constructor.ConstructorError(None, None, problem, key.start_mark)
            seen.add(key.value if isinstance(key.value, str) else id(key))
        return super().construct_mapping(node, deep)


def read(path: Path) -> PartsList:
    """Read a parts list.

    Raises
    ------
    PartsListError
        It cannot be read, or something in it is not valid.

    """
    must_exist(path)
    try:
        text, _ = text_file.read(path)
    except text_file.UnreadableError as error:
        raise PartsListError(str(error)) from error
    try:
        found = yaml.load(text, Loader=_Loader)  # noqa: S506 - makes nothing but text
    except (yaml.YAMLError, RecursionError) as error:
        mark = getattr(error, "problem_mark", None)
        row = "" if mark is None else f" in row {mark.line + 1}"
        why = getattr(error, "problem", None) or "it has a character that is not allowed in YAML"
        msg = f"{path} cannot be read{row}: {why}. A name with a colon or comma takes quotes"
        raise PartsListError(msg) from error
    sections = _check_mapping(found, str(path))
    unknown = [name for name in sections if name not in _SECTIONS]
    if unknown:
        if squash(str(unknown[0])) in {squash(name) for name in FIELDS}:
            msg = f"{path} is a build, not a parts list. To search around it, add --free camshaft"
            raise PartsListError(msg)
        near = did_you_mean(str(unknown[0]), _SECTIONS)
        msg = (
            f"{path} has an unknown section {unknown[0]!r}; sections are {', '.join(_SECTIONS)}."
            f"{near}"
        )
        raise PartsListError(msg)
    for name in ("build", "parts", "goal"):
        if name not in sections:
            msg = f"{path} has no section {name!r}; add it"
            raise PartsListError(msg)
    made = PartsList(
        base=_parse_fields(
            _check_mapping(sections["build"], "the section 'build'"), path, "the build"
        ),
        parts=_parse_parts(_check_mapping(sections["parts"], "the section 'parts'"), path),
        goal=goal_from(_check_mapping(sections["goal"], "the section 'goal'"))._replace(
            loads=_parse_loads(sections.get("loads") or [], path)
        ),
        limits=_parse_limits(_check_mapping(sections.get("limits") or {}, "the section 'limits'")),
    )
    _check_limits(made)
    return made


def within_budget(made: PartsList, budget: float) -> PartsList:
    """Return a parts list of which all parts of a combination may cost so much at the most.

    Raises
    ------
    PartsListError
        The budget is nothing, or a part has no price.

    """
    if not 0 < budget < float("inf"):
        msg = f"the budget is {budget:g}; it must be more than nothing"
        raise PartsListError(msg)
    own = next((one for one in made.limits if one.of == PRICE), Limit(PRICE, None, None))
    most = budget if own.at_most is None else min(own.at_most, budget)
    others = (one for one in made.limits if one is not own)
    limited = replace(made, limits=(*others, replace(own, at_most=most)))
    _check_limits(limited)
    return limited


def _check_limits(made: PartsList) -> None:
    """Refuse a limit on a value that some part does not give."""
    for limit in made.limits:
        if limit.of == PRICE:
            bare = [part for parts in made.parts.values() for part in parts if part.price is None]
            if bare:
                who = f"{bare[0].kind} {bare[0].name!r}"
                msg = f"the price requirement needs every price: {who} has none"
                raise PartsListError(msg)
        elif limit.of != TORQUE and limit.of not in made.base.values:
            kinds = [
                parts for parts in made.parts.values() if any(limit.of in p.values for p in parts)
            ]
            bare = [part for parts in kinds for part in parts if limit.of not in part.values]
            if not kinds or bare:
                who = (
                    f"{bare[0].kind} {bare[0].name!r} does"
                    if bare
                    else "the build and the parts do"
                )
                msg = f"the requirement of {limit.of} cannot be checked: {who} not give it"
                raise PartsListError(msg)


def _check_mapping(given: Any, where: str) -> Mapping[str, Any]:
    if not isinstance(given, dict):
        msg = f"{where} must be names and values, one 'name: value' per line"
        raise PartsListError(msg)
    return given


def _parse_fields(given: Mapping[str, Any], path: Path, where: str) -> Build:
    raw = RawSheet(str(given.get("sheet_id") or path.stem), str(path))
    for name, text in given.items():
        if not isinstance(text, str):
            msg = f"{where}: {name} must be one value, not a list or a block"
            raise PartsListError(msg)
        if name != "sheet_id":
            add_field(raw, str(name), text, 1)
    sheet = checked_sheets.check(raw, ())
    for finding in sheet.findings:
        if finding.code == "unknown-field":
            near = did_you_mean(finding.field or "", BUILD_FIELDS)
            msg = f"{where}: {finding.field!r} is not a field of a build.{near}"
            raise PartsListError(msg)
        if finding.severity is Severity.REFUSE:
            msg = f"{where}: {finding.message}"
            raise PartsListError(msg)
    return sheet


def _parse_parts(given: Mapping[str, Any], path: Path) -> dict[str, tuple[Part, ...]]:
    if not given:
        msg = "the section 'parts' is empty; add parts to choose from"
        raise PartsListError(msg)
    found: dict[str, tuple[Part, ...]] = {}
    for kind, listed in given.items():
        if not isinstance(listed, list) or not listed:
            msg = f"the parts of kind {kind!r} must be a list, one '- name: ...' for each part"
            raise PartsListError(msg)
        found[kind] = tuple(
            _parse_part(kind, one, number, path) for number, one in enumerate(listed, 1)
        )
        names = [part.name for part in found[kind]]
        if len(set(names)) < len(names):
            msg = f"two parts of kind {kind!r} have the same name; give each its own"
            raise PartsListError(msg)
    _check_shared(found)
    return found


def _parse_part(kind: str, given: Any, number: int, path: Path) -> Part:
    where = f"part {number} of kind {kind!r}"
    entries = _check_mapping(given, where)
    name = entries.get("name")
    if not isinstance(name, str) or not name.strip():
        msg = f"{where} has no name; add one"
        raise PartsListError(msg)
    where = f"{kind} {name!r}"
    price = None if "price" not in entries else number_of(entries["price"], f"{where}: price")
    if price is not None and price < 0:
        msg = f"{where}: price is {price:g}; it cannot be negative"
        raise PartsListError(msg)
    fields = {key: text for key, text in entries.items() if key not in _OF_PART}
    values = {k: v for k, v in _parse_fields(fields, path, where).values.items() if k != "sheet_id"}
    wrong = [key for key in values if key not in BUILD_FIELDS]
    if wrong:
        msg = f"{where}: {wrong[0]} is not a field of a part; remove it"
        raise PartsListError(msg)
    return Part(kind, name.strip(), price, values)


def _check_shared(parts: Mapping[str, tuple[Part, ...]]) -> None:
    owner: dict[str, str] = {}
    for kind, listed in parts.items():
        for name in {name for part in listed for name in part.values}:
            if owner.setdefault(name, kind) != kind:
                msg = (
                    f"{name} is set by parts of kind {owner[name]!r} and of kind {kind!r};"
                    " only one of the two can have it"
                )
                raise PartsListError(msg)


def _parse_loads(given: Any, path: Path) -> tuple[Load, ...]:
    """Return the loads of a list; a table is looked for beside the file."""
    if not isinstance(given, list) or not all(isinstance(one, str) for one in given):
        msg = f"the section 'loads' must be a list, a load on each line: {read_load.EXAMPLES}"
        raise PartsListError(msg)
    return tuple(read_load.beside(one, path) for one in given)


def _parse_limits(given: Mapping[str, Any]) -> tuple[Limit, ...]:
    found = []
    for name, entries in given.items():
        if name not in (PRICE, TORQUE) and not (name in BUILD_FIELDS and FIELDS[name].numeric):
            near = did_you_mean(str(name), (PRICE, TORQUE, *BUILD_FIELDS))
            msg = (
                f"the requirement {name!r} is not known; give torque, price or a field that is a"
                f" number.{near}"
            )
            raise PartsListError(msg)
        where = f"the requirement of {name}"
        limit = _check_mapping(entries, where)
        allowed = {"at_least", "at_most"} | ({"over"} if name == TORQUE else set())
        if not set(limit) & {"at_least", "at_most"} or not set(limit) <= allowed:
            msg = f"{where} needs at_least or at_most; allowed are {', '.join(sorted(allowed))}"
            raise PartsListError(msg)
        if name == TORQUE and "over" not in limit:
            msg = f"{where} needs its engine speeds; add them, such as over: 1800:4200"
            raise PartsListError(msg)
        low, high = (
            _parse_quantity(limit[side], name, where) if side in limit else None
            for side in ("at_least", "at_most")
        )
        over = band_of(limit["over"], where) if "over" in limit else None
        found.append(Limit(name, low, high, over))
    return tuple(found)


def _parse_quantity(text: Any, name: str, where: str) -> float:
    """Return a limit in the unit of what it is of: a field, torque or a price."""
    if name == PRICE or not isinstance(text, str):
        return number_of(text, where)
    try:
        value = cells.parse(text, {**FIELDS, **PULL_FIELDS}[name], mark=".").value
    except cells.CellError as error:
        msg = f"{where}: {error}"
        raise PartsListError(msg) from None
    return float(value) if isinstance(value, int | float) else number_of(text, where)
