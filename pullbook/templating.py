"""The command that hands out a build to fill in, and the schema that editors check it by."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer


def template(
    out: Annotated[
        Path | None, typer.Option("--out", help="Write it to this new file; printed without.")
    ] = None,
    schema: Annotated[
        bool, typer.Option("--schema", help="The JSON Schema of a YAML build, for editors.")
    ] = False,
) -> None:
    """Print a build to fill in: every field with its unit or choices."""
    from pipeline import build_schema, build_template  # noqa: PLC0415

    text = json.dumps(build_schema.schema(), indent=2) + "\n" if schema else build_template.text()
    if out is None:
        typer.echo(text, nl=False)
        return
    _write(out, text)
    then = "" if schema else f"; fill it in, then: pullbook predict {out}"
    typer.echo(f"Written to {out}{then}", err=True)


def _write(path: Path, text: str) -> None:
    """Write a file that is not there yet."""
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError:
        msg = f"{path} is there already and was left as it is; name another file"
        raise typer.BadParameter(msg, param_hint="--out") from None


COMMANDS = (template,)
