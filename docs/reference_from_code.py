"""The reference, made from the code: nothing here is written down twice.

A page of the reference has its words in Markdown and a line ``<!-- from code: commands -->`` where
the code tells the rest; `filled` puts it there while the site is built. No generated file is kept.
"""

from __future__ import annotations

import inspect
import re
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args, get_origin, get_type_hints

import pandas as pd
from typer.main import get_command

import pullbook
from pullbook.commands.main import app
from pullbook.model.training import bundle
from pullbook.pipeline.curation import data_set
from pullbook.pipeline.features.engineered_features import FEATURES, engineer, numbers
from pullbook.pipeline.features.fill_missing import FILLED
from pullbook.pipeline.files import text_file, workbook_size
from pullbook.pipeline.physics.correction_factors import STANDARDS
from pullbook.pipeline.reading import sheet_file
from pullbook.reports import checks_page
from pullbook.schemas import curated_tables
from pullbook.schemas.fields import CURATED_FIELDS, FIELDS, PULL_FIELDS, WEATHER_REQUIRED

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    import pandera.pandas as pa

_PLACE = re.compile(r"^<!-- from code: ([a-z-]+) -->$", re.MULTILINE)


def filled(page: str) -> str:
    """Return a page with what the code tells at every place that asks for it.

    Raises
    ------
    KeyError
        A place asks for what is not in `PARTS`.

    """
    return _PLACE.sub(lambda place: PARTS[place[1]](), page)


def _table(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Return a Markdown table; a column in which no row says anything is left out.

    >>> print(_table(["name", "unit"], [["bore", ""]]))
    | name |
    | --- |
    | bore |
    """
    cells = [[_cell(text) for text in row] for row in rows]
    kept = [at for at in range(len(headings)) if any(row[at] for row in cells)]
    lines = [headings, ["---"] * len(headings), *cells]
    return "\n".join(f"| {' | '.join(line[at] for at in kept)} |" for line in lines)


def _cell(text: object) -> str:
    return " ".join(str(text).replace("|", "\\|").replace("*", "\\*").split())


def _code(text: object) -> str:
    return f"`{text}`" if text not in (None, "") else ""


# --- commands -----------------------------------------------------------------------------


def every_command() -> Iterator[tuple[str, Any]]:
    """Yield each command's words and the command itself, groups opened, in the order of --help."""
    yield from _below("pullbook", get_command(app))


def _below(words: str, command: Any) -> Iterator[tuple[str, Any]]:
    for name, one in getattr(command, "commands", {}).items():
        if hasattr(one, "commands"):
            yield from _below(f"{words} {name}", one)
        else:
            yield f"{words} {name}", one


def _commands() -> str:
    return "\n\n".join(_command(words, one) for words, one in every_command())


def _command(words: str, command: Any) -> str:
    types = get_type_hints(command.callback)
    given = [one for one in command.params if one.param_type_name == "argument"]
    options = [one for one in command.params if one.param_type_name == "option"]
    usage = " ".join([words, *(_usage(one) for one in given), "[options]"])
    parts = [f"## {words}", inspect.cleandoc(command.help or ""), f"```text\n{usage}\n```"]
    if given:
        rows = [[_code(one.name.upper()), one.help or ""] for one in given]
        parts.append(_table(["argument", "what"], rows))
    if options:
        rows = [
            [_spelled(one), _takes(types.get(one.name, str)), one.help or "", _without(one)]
            for one in options
        ]
        parts.append(_table(["option", "takes", "what", "without it"], rows))
    return "\n\n".join(parts)


def _usage(argument: Any) -> str:
    name = argument.name.upper() + ("..." if argument.nargs != 1 else "")
    return name if argument.required else f"[{name}]"


def _spelled(option: Any) -> str:
    return " / ".join(_code(name) for name in (*option.opts, *option.secondary_opts))


_WORDS = {bool: "", Path: "a path", str: "text", float: "a number", int: "a whole number"}


def _takes(kind: Any) -> str:
    """Return what an option of a type takes, in words.

    >>> _takes(Path | None), _takes(list[str] | None)
    ('a path', 'text, may be repeated')
    """
    (kind,) = [one for one in get_args(kind) if one is not type(None)] or [kind]
    if inspect.isclass(kind) and issubclass(kind, Enum):
        return " or ".join(str(one.value) for one in kind)
    if get_origin(kind) is list or kind not in _WORDS:
        return f"{_WORDS[get_args(kind)[0]]}, may be repeated"
    return _WORDS[kind]


def _without(option: Any) -> str:
    if option.required:
        return "it is required"
    if isinstance(option.default, bool) or option.default in (None, "", (), []):
        return ""
    return _code(getattr(option.default, "value", option.default))


# --- fields, findings, features -----------------------------------------------------------

#: When a field that is not required of every sheet is required all the same.
SOMETIMES = {
    "sheet_id": "in tables",
    "shop": "to contribute",
    "boost": "if boosted",
}


def _fields() -> str:
    sometimes = SOMETIMES | dict.fromkeys(WEATHER_REQUIRED, "if observed")
    return _table(
        ["field", "what", "takes", "required"],
        [
            [_code(one.name), one.meaning, one.allowed,
             "yes" if one.required else sometimes.get(one.name, "")]
            for one in FIELDS.values()
        ],
    )  # fmt: skip


def _pull_columns() -> str:
    rows = [[_code(one.name), one.meaning, one.allowed] for one in PULL_FIELDS.values()]
    return _table(["column", "what", "takes"], rows)


def _findings() -> str:
    return checks_page.page().markdown().split("\n", 1)[1].strip()


def _features() -> str:
    return _table(
        ["feature", "unit", "formula", "source"],
        [
            [_code(one.name), one.unit, one.formula + (" (at each rpm)" if one.per_rpm else ""),
             one.source]
            for one in FEATURES.values()
        ],
    )  # fmt: skip


def _fields_as_they_are() -> str:
    nothing = numbers(pd.DataFrame(columns=list(CURATED_FIELDS)))
    return ", ".join(_code(name) for name in engineer(nothing).columns if name not in FEATURES)


def _filled_fields() -> str:
    return ", ".join(map(_code, FILLED))


def _standards() -> str:
    return _table(
        ["standard", "factor is one at", "written for", "source"],
        [
            [name, f"{one.reference.celsius:g} degC and {one.reference.pressure:g} kPa",
             f"{one.celsius[0]:g} to {one.celsius[1]:g} degC", one.source]
            for name, one in STANDARDS.items()
        ],
    )  # fmt: skip


# --- files --------------------------------------------------------------------------------


def _columns(schema: pa.DataFrameSchema) -> str:
    own = {name: column for name, column in schema.columns.items() if name not in FIELDS}
    kinds = {name: _KINDS.get(str(column.dtype), column.dtype) for name, column in own.items()}
    return ", ".join(f"{_code(name)} ({kind})" for name, kind in kinds.items())


_KINDS = {"string[pyarrow]": "text", "float64": "number", "int64": "whole number",
          "Int64": "whole number"}  # fmt: skip


def _curated_files() -> str:
    rows = [
        (data_set.BUILDS, "a row a sheet", curated_tables.builds_schema()),
        (data_set.PULLS, "a row a reading", curated_tables.pulls_schema()),
        (data_set.FINDINGS, "a row a finding", curated_tables.findings_schema()),
    ]
    return _table(
        ["file", "what", "columns beside those of the sheet"],
        [[_code(name), what, _columns(schema)] for name, what, schema in rows],
    )


def _bundle_files() -> str:
    names = [bundle.MANIFEST, bundle.CURVE, bundle.SPREAD, bundle.FILLING, bundle.ARRAYS,
             bundle.SHEETS, bundle.GOLDEN]  # fmt: skip
    said = inspect.getdoc(bundle) or ""
    return f"Files: {', '.join(map(_code, names))}. Format {bundle.FORMAT}.\n\n{said}"


def _limits_of_size() -> str:
    return (
        f"A sheet file may have {text_file.SHEET_BYTES // 10**6} MB and"
        f" {sheet_file.MOST_ROWS:,} rows, a table {text_file.TABLE_BYTES // 10**6} MB, a workbook"
        f" {workbook_size.PACKED_BYTES // 10**6} MB."
    )


# --- Python -------------------------------------------------------------------------------


def public_names() -> list[tuple[str, object]]:
    """Return the dotted name and the object of all that is meant for use from Python, each once."""
    return [(f"pullbook.{name}", getattr(pullbook, name)) for name in pullbook.__all__]


def _python() -> str:
    return "\n\n".join(_documented(name, thing) for name, thing in public_names())


#: What scikit-learn adds to every estimator is told in its own pages.
_OF_OTHERS = "set_fit_request, set_predict_request, set_score_request"
_MEMBERS = f"\n   :members:\n   :exclude-members: {_OF_OTHERS}"


def _documented(name: str, thing: object) -> str:
    if not inspect.isclass(thing):
        kind, more = ("autofunction" if callable(thing) else "autodata"), ""
    elif issubclass(thing, BaseException):
        kind, more = "autoexception", ""
    else:
        kind, more = "autoclass", _MEMBERS
    return f"```{{eval-rst}}\n.. {kind}:: {name}{more}\n```"


#: What the code tells, by the name a page asks for it.
PARTS: dict[str, Callable[[], str]] = {
    "bundle-files": _bundle_files,
    "commands": _commands,
    "curated-files": _curated_files,
    "features": _features,
    "fields": _fields,
    "fields-as-they-are": _fields_as_they_are,
    "filled-fields": _filled_fields,
    "findings": _findings,
    "limits-of-size": _limits_of_size,
    "pull-columns": _pull_columns,
    "python": _python,
    "standards": _standards,
}
