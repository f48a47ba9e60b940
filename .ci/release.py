"""A release: dates the changelog, sets the version, builds the wheel and tries it where nothing is.

``make release VERSION=0.2.0``. What it changed is put back if anything fails; committing, tagging
and publishing are left to a person. ``python .ci/release.py --open 0.3.0`` then opens the section
of the changelog that the next changes go into.
"""

from __future__ import annotations

import argparse
import datetime as dt
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]
_CHANGES, _PROJECT = ROOT / "CHANGELOG.md", ROOT / "pyproject.toml"
_CITATION = ROOT / "CITATION.cff"
_UNRELEASED = re.compile(r"^## \S+ - unreleased$", re.MULTILINE)
_SECTION = re.compile(r"^## (\S+) - (unreleased|\d{4}-\d{2}-\d{2})$", re.MULTILINE)
_VERSION = re.compile(r'^version = "[^"]+"$', re.MULTILINE)
_CITED = re.compile(r"^version: .*$", re.MULTILINE)
_CITED_ON = re.compile(r"^date-released: .*\n", re.MULTILINE)


class ReleaseError(ValueError):
    """What keeps a release from being made."""


def numbers(version: str) -> tuple[int, ...]:
    """Return the numbers of a version.

    Raises
    ------
    ReleaseError
        It is none.

    """
    if not re.fullmatch(r"\d+\.\d+\.\d+", version):
        msg = f"{version!r} is no version, as 0.2.0"
        raise ReleaseError(msg)
    return tuple(map(int, version.split(".")))


def dated(changes: str, version: str, day: dt.date) -> str:
    """Return the changelog with what is unreleased under a version and a date."""
    numbers(version)
    changed, found = _UNRELEASED.subn(f"## {version} - {day.isoformat()}", changes)
    if found != 1:
        msg = (
            f"the changelog has {found} headings that end in '- unreleased'; it takes one"
            " (python .ci/release.py --open VERSION writes it)"
        )
        raise ReleaseError(msg)
    return changed


def opened(changes: str, version: str) -> str:
    """Return the changelog with a section for what comes next on top of the released ones."""
    newest = _SECTION.search(changes)
    if newest is None or newest[2] == "unreleased":
        msg = (
            "the newest section of the changelog is not released, so the next one cannot be opened"
        )
        raise ReleaseError(msg)
    if numbers(version) <= numbers(newest[1]):
        msg = f"{version} does not come after {newest[1]}, the newest section of the changelog"
        raise ReleaseError(msg)
    at = newest.start()
    return f"{changes[:at]}## {version} - unreleased\n\n{changes[at:]}"


def check(changes: str, project: str) -> None:
    """Refuse a changelog that does not fit the project's version.

    The newest section is of what is not released yet, or of the version itself, which it is from
    the release until the next section is opened.
    """
    sections = _SECTION.findall(changes)
    version = tomllib.loads(project)["project"]["version"]
    if not sections or (sections[0][1] != "unreleased" and sections[0][0] != version):
        msg = f"the newest section of the changelog is neither unreleased nor of {version}"
        raise ReleaseError(msg)
    if "unreleased" in [state for _, state in sections[1:]]:
        msg = "a section of the changelog that is not the newest is unreleased"
        raise ReleaseError(msg)


def versioned(project: str, version: str) -> str:
    """Return the project's file with another version."""
    return _VERSION.sub(f'version = "{version}"', project, count=1)


def cited(citation: str, version: str, day: dt.date) -> str:
    """Return how the project is cited, with another version and its date."""
    plain = _CITED_ON.sub("", citation)
    return _CITED.sub(f"version: {version}\ndate-released: {day.isoformat()}", plain, count=1)


def _run(*words: object, folder: Path) -> str:
    done = subprocess.run(
        list(map(str, words)), cwd=folder, capture_output=True, text=True, check=False
    )
    if done.returncode != 0:
        msg = f"{' '.join(map(str, words))}\n{done.stdout[-2000:]}{done.stderr[-2000:]}"
        raise ReleaseError(msg)
    return done.stdout


def _must_be_committed() -> None:
    if _run("git", "status", "--porcelain", folder=ROOT).strip():
        msg = "there are changes that are not committed"
        raise ReleaseError(msg)


def _build() -> Path:
    for left in (*(ROOT / "build").glob("lib*"), *(ROOT / "build").glob("bdist*")):
        shutil.rmtree(left)  # setuptools would pack modules that are there no more
    pip = (sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--no-build-isolation")
    before = set((ROOT / "dist").glob("*.whl"))
    _run(*pip, "--wheel-dir", ROOT / "dist", ROOT, folder=ROOT)
    made = set((ROOT / "dist").glob("*.whl")) - before
    return made.pop() if made else max(before, key=lambda path: path.stat().st_mtime)


def _try(wheel: Path, version: str) -> None:
    """Install the wheel into an empty environment, with its pins alone, and ask it something."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _run(sys.executable, "-m", "venv", folder / "venv", folder=folder)
        pip = (folder / "venv/bin/python", "-m", "pip", "install", "--quiet")
        pins = ROOT / "requirements" / "run.txt"
        _run(*pip, "--require-hashes", "--requirement", pins, folder=folder)
        _run(*pip, "--no-deps", wheel, folder=folder)
        pullbook = folder / "venv/bin/pullbook"
        said = _run(pullbook, "--version", folder=folder)
        if version not in said:
            msg = f"the wheel calls itself {said.strip()!r}, not {version}"
            raise ReleaseError(msg)
        _run(pullbook, "check", ROOT / "data/examples/tern-0001.csv", folder=folder)
        _run(pullbook, "predict", ROOT / "data/examples/question.yaml", folder=folder)


def release(version: str) -> Path:
    """Make a release, or put everything back and raise what keeps it; return the wheel."""
    texts = {path: path.read_text(encoding="utf-8") for path in (_CHANGES, _PROJECT, _CITATION)}
    today = dt.datetime.now(tz=dt.UTC).date()
    _must_be_committed()
    try:
        _CHANGES.write_text(dated(texts[_CHANGES], version, today), encoding="utf-8")
        _PROJECT.write_text(versioned(texts[_PROJECT], version), encoding="utf-8")
        _CITATION.write_text(cited(texts[_CITATION], version, today), encoding="utf-8")
        wheel = _build()
        _try(wheel, version)
    except BaseException:
        for path, text in texts.items():
            path.write_text(text, encoding="utf-8")
        raise
    return wheel


def main() -> None:
    """Make a release, or open the changelog's next section."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("version", help="as 0.2.0")
    parser.add_argument("--open", action="store_true", help="only open the section of a version")
    given = parser.parse_args()
    try:
        if given.open:
            text = opened(_CHANGES.read_text(encoding="utf-8"), given.version)
            _CHANGES.write_text(text, encoding="utf-8")
            print(f"CHANGELOG.md has a section for {given.version}.")
            return
        wheel = release(given.version)
    except ReleaseError as fault:
        sys.exit(f"no release: {fault}")
    tag = f"v{given.version}"
    _run(sys.executable, ROOT / ".ci" / "bill_of_materials.py", given.version, folder=ROOT)
    print(f"{wheel.relative_to(ROOT)} is built and works in an empty environment.")
    print(f"Now: make test; git commit -am 'Release {given.version}'; git tag {tag}")
    print("Then open the next section: python .ci/release.py --open VERSION, and commit it.")


if __name__ == "__main__":
    main()
