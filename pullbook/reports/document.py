"""A page of text, tables and charts, written as Markdown or as one self-contained HTML file.

Everything on a page may come from somebody's sheet, so none of it is treated as markup.
"""

from __future__ import annotations

import base64
import re
from dataclasses import dataclass, field
from functools import cache
from hashlib import sha256
from typing import TYPE_CHECKING

from pullbook.pipeline.storage import plain_text, whole_writes
from pullbook.words import broad_tables

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from jinja2 import Template
    from markupsafe import Markup


#: What a page begins with, and its styles.
_CHARSET, _STYLE = '<meta charset="utf-8">', re.compile(r"<style>(.*?)</style>", re.DOTALL)
_NOTHING = "'none'"
#: What Markdown treats as markup; an underscore within a word is not.
_MARKUP = re.compile(r"([\\`*{}\[\]<>|#]|(?<!\w)_|_(?!\w))")


@dataclass(frozen=True, slots=True)
class _Table:
    headings: Sequence[str]
    rows: Sequence[Sequence[str]]
    kind: str = "table"

    @property
    def numeric(self) -> list[bool]:
        """Whether every cell of a column begins like a number, is empty or was not tested."""
        return [
            bool(self.rows)
            and all(re.match(r"[+-]?[\d.]|$|not tested$", row[at]) for row in self.rows)
            for at in range(len(self.headings))
        ]

    @property
    def broad(self) -> bool:
        """Whether its columns do not fit a phone side by side, where each row then is a list."""
        return broad_tables.is_broad(self.headings, self.rows)

    @property
    def classes(self) -> list[Markup]:
        """What a column's cells are marked with: numbers are set to the right."""
        from markupsafe import Markup

        return [Markup(' class="n"' if numeric else "") for numeric in self.numeric]  # noqa: S704


@dataclass(frozen=True, slots=True)
class _Picture:
    name: str
    svg: bytes
    alt: str
    narrow: bytes = b""
    caption: str = ""
    kind: str = "picture"

    @property
    def base64(self) -> str:
        """The picture as text."""
        return base64.b64encode(self.svg).decode()

    @property
    def narrow_base64(self) -> str:
        """The picture for a phone as text; empty where there is none of its own."""
        return base64.b64encode(self.narrow).decode()


@dataclass(frozen=True, slots=True)
class _Head:
    """Who a page is from and for; ``logo`` is the address of a picture that holds itself."""

    shop: str
    customer: str
    date: str
    logo: str
    kind: str = "head"


@dataclass(frozen=True, slots=True)
class _Facts:
    """Names and what belongs to each, side by side where there is room."""

    pairs: Sequence[tuple[str, str]]
    kind: str = "facts"


@dataclass(frozen=True, slots=True)
class _Words:
    text: str
    kind: str


@dataclass(slots=True)
class Page:
    """A page: add to it from top to bottom, then write it.

    Attributes
    ----------
    title
        What it is about.
    one_sheet
        Whether it is set to be printed on one sheet of paper, picture and table side by side.
    """

    title: str
    one_sheet: bool = False
    _parts: list[_Words | _Table | _Picture | _Head | _Facts] = field(default_factory=list)

    def head(self, shop: str, customer: str, date: str, logo: str) -> None:
        """Say who the page is from and for; what is empty is left out."""
        self._parts.append(_Head(shop, customer, date, logo))

    def facts(self, pairs: Sequence[tuple[str, str]]) -> None:
        """Add names and what belongs to each."""
        self._parts.append(_Facts(pairs))

    @property
    def parts(self) -> Sequence[_Words | _Table | _Picture | _Head | _Facts]:
        """What is on the page, from top to bottom; ``kind`` says what each part is."""
        return tuple(self._parts)

    def heading(self, text: str) -> None:
        """Begin a section."""
        self._parts.append(_Words(text, "heading"))

    def text(self, text: str) -> None:
        """Add a paragraph of plain text."""
        self._parts.append(_Words(text, "text"))

    def table(self, headings: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
        """Add a table; columns of numbers are set to the right."""
        self._parts.append(_Table(headings, [[str(cell) for cell in row] for row in rows]))

    def picture(
        self, name: str, svg: bytes, alt: str, narrow: bytes = b"", caption: str = ""
    ) -> None:
        """Add a picture.

        Parameters
        ----------
        name
            Of its file beside the Markdown.
        svg, alt
            The picture, and what describes it.
        narrow
            The picture as drawn for a phone.
        caption
            What stands below it; what describes it, if there is nothing else.

        """
        self._parts.append(_Picture(name, svg, alt, narrow, caption))

    def write(self, folder: Path, name: str) -> None:
        """Write ``name.md`` with its pictures beside it, and ``name.html``, which holds all."""
        folder.mkdir(parents=True, exist_ok=True)
        for part in self._parts:
            if isinstance(part, _Picture):
                whole_writes.write(folder / part.name, part.svg)
        whole_writes.write_text(folder / f"{name}.md", self.markdown())
        whole_writes.write_text(folder / f"{name}.html", self.html())

    def markdown(self) -> str:
        """Return the page as Markdown; its pictures are files beside it."""
        lines = [f"# {_plain(self.title)}"]
        for part in self._parts:
            match part:
                case _Words(text, kind):
                    lines.append(f"## {_plain(text)}" if kind == "heading" else _plain(text))
                case _Picture(name, _, alt):
                    lines.append(f"![{_plain(alt)}]({name})")
                case _Head(shop, customer, date, _):
                    words = (shop, customer and f"For {customer}", date)
                    lines += [_plain(one) for one in words if one]
                case _Facts(pairs):
                    lines.append("\n".join(f"- {_plain(f'{n}: {v}')}" for n, v in pairs))
                case _Table(headings, rows):
                    right = ["--:" if numeric else ":--" for numeric in part.numeric]
                    body = [headings, right, *rows]
                    lines.append("\n".join(_row(cells, i == 1) for i, cells in enumerate(body)))
        return plain_text.plain("\n\n".join(lines) + "\n")

    def html(self) -> str:
        """Return the page as one self-contained HTML file."""
        heads = [part for part in self._parts if isinstance(part, _Head)]
        parts = [part for part in self._parts if not isinstance(part, _Head)]
        text = _template().render(
            title=self.title, one_sheet=self.one_sheet, heads=heads, parts=parts
        )
        return secured(text)


def secured(page: str) -> str:
    """Return a page that runs and loads nothing, whatever is in it, and has no hidden characters.

    Its policy allows its own style, by its digest, and the pictures within it.
    """
    page = plain_text.plain(page)
    styles = " ".join(
        f"'sha256-{base64.b64encode(sha256(style.encode()).digest()).decode()}'"
        for style in _STYLE.findall(page)
    )
    policy = (
        f"default-src 'none'; style-src {styles or _NOTHING}; img-src data:; base-uri 'none';"
        " form-action 'none'"
    )
    meta = f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
    return page.replace(_CHARSET, f"{_CHARSET}\n{meta}", 1)


@cache
def _template() -> Template:
    from jinja2 import Environment, PackageLoader

    environment = Environment(
        loader=PackageLoader("pullbook.reports"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    return environment.get_template("document.html")


def _plain(text: str) -> str:
    return _MARKUP.sub(r"\\\1", " ".join(text.split()))


def _row(cells: Sequence[str], rule: bool) -> str:
    return "| " + " | ".join(cells if rule else [_plain(cell) for cell in cells]) + " |"
