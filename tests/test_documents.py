"""What README.md and docs/ show is run, page by page, and what they say it prints is compared.

A page starts in an empty folder with a home of its own. Files come from blocks that follow the
words "save this as `name`"; commands from blocks of ``sh`` and ``console``; Python from blocks of
``python``. A block of ``output``, and the lines below a command of ``console``, must be among what
was printed, line by line: ``...`` skips lines, ``…`` stands for any text within one. A command that
ends with another exit status than 0 says so: ``# exit status 1: why``.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import runpy
import shlex
import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest
import yaml
from typer.testing import CliRunner

from pullbook.commands.main import app

ROOT = Path(__file__).parents[1]
#: Where pictures for the documentation are written, if they are wanted: make pictures.
PICTURES = os.environ.get("PULLBOOK_PICTURES")
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]
#: What trains on more than a few sheets.
SLOW = {
    "README.md",
    "docs/tutorials/sharing-with-a-circle.md",
    "docs/tutorials/the-analysts-month.md",
    "docs/tutorials/your-own-sheets.md",
}
#: What `.ci/run` and a person run, and no test.
_ELSEWHERE = {"make", "pip", "git", "python3", "py", ".", "brew", "dvc", "dask"}
_BLOCK = re.compile(r"^(`{3,})([^\n`]*)\n(.*?)^\1\s*$", re.MULTILINE | re.DOTALL)
_SAVED = re.compile(r"save (?:this|it|that) as `([^`]+)`", re.IGNORECASE)
_STATUS = re.compile(r"#.*exit status (\d)")


@dataclass(frozen=True)
class Block:
    """A fenced block: its language, its text, its line on the page and the words before it."""

    language: str
    text: str
    line: int
    before: str


def blocks(page: str) -> list[Block]:
    r"""Return the fenced blocks of a page.

    >>> [(b.language, b.text, b.line) for b in blocks("Run:\n\n```sh\nmake\n```\n")]
    [('sh', 'make\n', 3)]
    """
    found, end = [], 0
    for match in _BLOCK.finditer(page):
        line = page.count("\n", 0, match.start()) + 1
        found.append(Block(match[2].strip(), match[3], line, page[end : match.start()]))
        end = match.end()
    return found


def commands(block: Block) -> list[tuple[str, list[str]]]:
    r"""Return the commands of a block, each with the lines it is said to print.

    >>> commands(Block("console", "$ a b \\\n  c\nprinted\n$ d\n", 1, ""))
    [('a b c', ['printed']), ('d', [])]
    """
    found: list[tuple[str, list[str]]] = []
    for line in re.sub(r"\\\n\s*", "", block.text).splitlines():
        if block.language == "console" and not line.startswith("$ "):
            found[-1][1].append(line)
        elif line.strip() and not line.startswith("#"):
            found.append((line.removeprefix("$ "), []))
    return found


def holds(printed: str, wanted: list[str]) -> bool:
    r"""Tell whether lines were printed, in their order, with nothing between but for ``...``.

    >>> holds("a\nb 17\nc\nd\n", ["a", "b …", "...", "d"]), holds("a\nb\nc\n", ["a", "c"])
    (True, False)
    """
    pattern = r"\s*\n".join(
        r"(?:.*\n)*?.*?" if line == "..." else re.escape(line.rstrip()).replace("…", ".*")
        for line in wanted
    )
    return re.search(rf"^{pattern}\s*$", printed, re.MULTILINE) is not None


class Reader:
    """Somebody who does what a page says, in one folder, in its order."""

    def __init__(self) -> None:
        self.names: dict[str, object] = {"__name__": "page"}
        self.printed = ""

    def do(self, block: Block, page: str) -> None:
        """Do what one block says."""
        where = f"{page}, line {block.line}"
        saved = _SAVED.findall(" ".join(block.before.strip().split("\n\n")[-1].split()))
        if saved:
            path = Path(saved[-1])
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(block.text, encoding="utf-8")
        elif block.language in ("sh", "console"):
            self.printed = ""
            for command, wanted in commands(block):
                printed = self.run(command, where)
                assert not wanted or holds(printed, wanted), f"{where}: {command}\n{printed}"
                self.printed += printed
        elif block.language == "python":
            out = io.StringIO()
            with contextlib.redirect_stdout(out):
                exec(compile(block.text, where, "exec"), self.names)  # noqa: S102 - ours
            self.printed = out.getvalue()
        elif block.language == "output":
            wanted = block.text.rstrip("\n").split("\n")
            assert holds(self.printed, wanted), f"{where}\n{self.printed}"
        else:
            assert not re.search(r"^\$? ?pullbook ", block.text, re.MULTILINE) or (
                block.language == "text"
            ), f"{where}: a command that nothing runs; make it a block of sh"

    def run(self, line: str, where: str) -> str:
        """Run one command here, and return all that it printed."""
        words = shlex.split(line, comments=True)
        status = int(found[1]) if (found := _STATUS.search(line)) else 0
        if words[0] == "pullbook":
            done = CliRunner().invoke(app, words[1:], catch_exceptions=False)
            assert done.exit_code == status, f"{where}: {line}\n{done.output}"
            return done.output
        if words[:2] == ["python", "-m"]:
            out = io.StringIO()
            with contextlib.redirect_stdout(out), pytest.MonkeyPatch.context() as patch:
                patch.setattr("sys.argv", words[2:])
                runpy.run_module(words[2], run_name="__main__")
            return out.getvalue()
        if words[0] == "cp":
            shutil.copy(*words[1:])
        elif words[0] == "chmod":
            Path(words[2]).chmod(int(words[1], 8))
        elif words[0] not in _ELSEWHERE:
            pytest.fail(f"{where}: nothing here runs {words[0]!r}")
        return ""


def _named(path: Path) -> object:
    name = str(path.relative_to(ROOT))
    return pytest.param(path, id=name, marks=[pytest.mark.slow] if name in SLOW else [])


@pytest.mark.parametrize(
    "page", [_named(path) for path in PAGES if blocks(path.read_text(encoding="utf-8"))]
)
def test_a_page_does_what_it_says(page, tmp_path, monkeypatch):
    home = tmp_path / "home"
    for name in ("HOME", "XDG_CONFIG_HOME", "XDG_CACHE_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(name, str(home / name.lower()))
    monkeypatch.setenv("COLUMNS", "100")
    folder = tmp_path / "folder"
    folder.mkdir()
    monkeypatch.chdir(folder)
    reader, text = Reader(), page.read_text(encoding="utf-8")
    for block in blocks(text):
        reader.do(block, str(page.relative_to(ROOT)))
    for name in re.findall(rf"\]\(\.\./pictures/({page.stem}-[^)]+\.svg)\)", text):
        drawn = folder / name.removeprefix(f"{page.stem}-")
        assert drawn.exists()
        if PICTURES:
            shutil.copy(drawn, ROOT / PICTURES / name)


def test_the_slow_pages_are_there():
    assert {str(path.relative_to(ROOT)) for path in PAGES} >= SLOW


def test_a_picture_or_a_page_that_is_named_is_there():
    broken = [
        f"{page.relative_to(ROOT)}: {target}"
        for page in [*PAGES, *ROOT.glob("*.md"), *ROOT.glob("*/README.md")]
        for target in re.findall(r"\]\(([^)#:\s]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8"))
        if not (page.parent / target).exists()
    ]
    assert broken == []


def test_every_room_has_its_line_on_the_developers_page():
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rooms = {
        f"`{path.parent.relative_to(ROOT)}/`"
        for top in ("schemas", "pipeline", "model", "pullbook")
        for path in (ROOT / top).rglob("*.py")
        if path.parent.relative_to(ROOT).as_posix() not in ("pipeline", "model", "pullbook")
    }
    assert {room for room in rooms if room not in page} == set()


def test_forms_and_hooks_are_yaml_and_ask_nobody_else():
    files = [*(ROOT / ".github").rglob("*.yml"), ROOT / ".pre-commit-config.yaml"]
    found = {path.name: yaml.safe_load(path.read_text(encoding="utf-8")) for path in files}
    assert {"bug.yml", "sheet.yml", "idea.yml"} < set(found)
    assert all(form["name"] and form["body"] for form in found.values() if "body" in form)
    assert {repo["repo"] for repo in found[".pre-commit-config.yaml"]["repos"]} == {"local"}


def test_the_readme_fits_one_page():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 120
    assert text.split("\n\n")[1].startswith("pullbook predicts")
