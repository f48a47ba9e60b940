"""A page of text, tables and charts, written as Markdown or as one self-contained HTML file.

Everything on a page may come from somebody's sheet, so none of it is treated as markup.
"""

from __future__ import annotations

import base64
import html
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path


#: What Markdown treats as markup; an underscore within a word is not.
_MARKUP = re.compile(r"([\\`*{}\[\]<>|#]|(?<!\w)_|_(?!\w))")

_STYLE = """
:root { color-scheme: light dark; --ink: #20262b; --soft: #5b6268; --line: #d5dadd;
  --paper: #ffffff; --band: #f4f6f7; }
@media (prefers-color-scheme: dark) { :root { --ink: #e6e9eb; --soft: #a7aeb4; --line: #3a4147;
  --paper: #15191c; --band: #1e2429; } }
body { font: 16px/1.55 system-ui, sans-serif; color: var(--ink); background: var(--paper);
  max-width: 46rem; margin: 0 auto; padding: 1.2rem; }
h1 { font-size: 1.6rem; line-height: 1.25; } h2 { font-size: 1.2rem; margin-top: 2.2rem; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; font-size: .9rem; margin: .8rem 0; }
th, td { text-align: left; padding: .3rem .7rem .3rem 0; border-bottom: 1px solid var(--line);
  vertical-align: top; }
th { color: var(--soft); font-weight: 600; vertical-align: bottom; }
td:not(.n):first-child { min-width: 7rem; }
.n { text-align: right; font-variant-numeric: tabular-nums; }
td.n { white-space: nowrap; }
figure { margin: 1.2rem 0; } figcaption { color: var(--soft); font-size: .9rem; }
img { max-width: 100%; height: auto; background: #ffffff; border-radius: 6px; }
@media print { body { max-width: none; padding: 0; font-size: 11pt; }
  figure, table { break-inside: avoid; } }
"""


@dataclass(frozen=True, slots=True)
class _Table:
    headings: Sequence[str]
    rows: Sequence[Sequence[str]]


@dataclass(frozen=True, slots=True)
class _Picture:
    name: str
    svg: bytes
    alt: str


@dataclass(frozen=True, slots=True)
class _Heading:
    text: str


@dataclass(slots=True)
class Page:
    """A page: add to it from top to bottom, then write it.

    Attributes
    ----------
    title
        What it is about.
    """

    title: str
    _parts: list[str | _Heading | _Table | _Picture] = field(default_factory=list)

    def heading(self, text: str) -> None:
        """Begin a section."""
        self._parts.append(_Heading(text))

    def text(self, text: str) -> None:
        """Add a paragraph of plain text."""
        self._parts.append(text)

    def table(self, headings: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
        """Add a table; columns of numbers are set to the right."""
        self._parts.append(_Table(headings, [[str(cell) for cell in row] for row in rows]))

    def picture(self, name: str, svg: bytes, alt: str) -> None:
        """Add a picture; ``name`` is that of its file beside the Markdown, ``alt`` describes it."""
        self._parts.append(_Picture(name, svg, alt))

    def write(self, folder: Path, name: str) -> None:
        """Write ``name.md`` with its pictures beside it, and ``name.html``, which holds all."""
        folder.mkdir(parents=True, exist_ok=True)
        for part in self._parts:
            if isinstance(part, _Picture):
                (folder / part.name).write_bytes(part.svg)
        (folder / f"{name}.md").write_text(self.markdown(), encoding="utf-8")
        (folder / f"{name}.html").write_text(self.html(), encoding="utf-8")

    def markdown(self) -> str:
        """Return the page as Markdown; its pictures are files beside it."""
        lines = [f"# {_plain(self.title)}"]
        for part in self._parts:
            match part:
                case str():
                    lines.append(_plain(part))
                case _Heading(text):
                    lines.append(f"## {_plain(text)}")
                case _Picture(name, _, alt):
                    lines.append(f"![{_plain(alt)}]({name})")
                case _Table(headings, rows):
                    right = [":--" if not n else "--:" for n in _numeric(headings, rows)]
                    body = [headings, right, *rows]
                    lines.append("\n".join(_row(cells, i == 1) for i, cells in enumerate(body)))
        return "\n\n".join(lines) + "\n"

    def html(self) -> str:
        """Return the page as one self-contained HTML file."""
        title = html.escape(self.title)
        body = "\n".join(_as_html(part) for part in self._parts)
        return (
            '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
            '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
            f"<title>{title}</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n<h1>{title}</h1>\n"
            f"{body}\n</body>\n</html>\n"
        )


def _plain(text: str) -> str:
    return _MARKUP.sub(r"\\\1", " ".join(text.split()))


def _row(cells: Sequence[str], rule: bool) -> str:
    return "| " + " | ".join(cells if rule else [_plain(cell) for cell in cells]) + " |"


def _numeric(headings: Sequence[str], rows: Sequence[Sequence[str]]) -> list[bool]:
    """Tell for each column whether every cell of it begins like a number or is empty."""
    return [
        bool(rows) and all(re.match(r"[+-]?[\d.]|$", row[at]) for row in rows)
        for at in range(len(headings))
    ]


def _as_html(part: str | _Heading | _Table | _Picture) -> str:
    match part:
        case str():
            return f"<p>{html.escape(part)}</p>"
        case _Heading(text):
            return f"<h2>{html.escape(text)}</h2>"
        case _Picture(_, svg, alt):
            data = base64.b64encode(svg).decode()
            shown = html.escape(alt, quote=True)
            image = f'<img src="data:image/svg+xml;base64,{data}" alt="{shown}">'
            return f"<figure>{image}<figcaption>{shown}</figcaption></figure>"
        case _Table(headings, rows):
            kinds = [' class="n"' if n else "" for n in _numeric(headings, rows)]
            head = "".join(
                f'<th scope="col"{k}>{html.escape(h)}</th>'
                for h, k in zip(headings, kinds, strict=True)
            )
            body = "\n".join(
                "<tr>"
                + "".join(
                    f"<td{k}>{html.escape(cell)}</td>" for cell, k in zip(row, kinds, strict=True)
                )
                + "</tr>"
                for row in rows
            )
            return (
                f'<div class="wide"><table>\n<thead><tr>{head}</tr></thead>\n'
                f"<tbody>\n{body}\n</tbody></table></div>"
            )
