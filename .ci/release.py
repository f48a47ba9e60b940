"""A release: dates the changelog, sets the version, builds the wheel and tries it where nothing is.

``make release VERSION=0.2.0``. What it changed is put back if anything fails; committing, tagging
and publishing are left to a person.
"""

from __future__ import annotations

import argparse
import datetime as dt
import re
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[1]
_CHANGES, _PROJECT = ROOT / "CHANGELOG.md", ROOT / "pyproject.toml"
_UNRELEASED = re.compile(r"^## \S+ - unreleased$", re.MULTILINE)
_VERSION = re.compile(r'^version = "[^"]+"$', re.MULTILINE)


class ReleaseError(ValueError):
    """What keeps a release from being made."""


def dated(changes: str, version: str, day: dt.date) -> str:
    """Return the changelog with what is unreleased under a version and a date."""
    if not re.fullmatch(r"\d+\.\d+\.\d+", version):
        msg = f"{version!r} is no version, as 0.2.0"
        raise ReleaseError(msg)
    changed, found = _UNRELEASED.subn(f"## {version} - {day.isoformat()}", changes)
    if found != 1:
        msg = f"the changelog has {found} headings that end in '- unreleased'; it takes one"
        raise ReleaseError(msg)
    return changed


def versioned(project: str, version: str) -> str:
    """Return the project's file with another version."""
    return _VERSION.sub(f'version = "{version}"', project, count=1)


def _run(*words: object, folder: Path = ROOT) -> str:
    done = subprocess.run(
        list(map(str, words)), cwd=folder, capture_output=True, text=True, check=False
    )
    if done.returncode != 0:
        msg = f"{' '.join(map(str, words))}\n{done.stdout[-2000:]}{done.stderr[-2000:]}"
        raise ReleaseError(msg)
    return done.stdout


def _must_be_committed() -> None:
    if _run("git", "status", "--porcelain").strip():
        msg = "there are changes that are not committed"
        raise ReleaseError(msg)


def _build() -> Path:
    pip = (sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--no-build-isolation")
    before = set((ROOT / "dist").glob("*.whl"))
    _run(*pip, "--wheel-dir", ROOT / "dist", ROOT)
    made = set((ROOT / "dist").glob("*.whl")) - before
    return made.pop() if made else max(before, key=lambda path: path.stat().st_mtime)


def _try(wheel: Path, version: str) -> None:
    """Install the wheel into an empty environment, with its pins alone, and ask it something."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        _run(sys.executable, "-m", "venv", folder / "venv")
        pip = (folder / "venv/bin/python", "-m", "pip", "install", "--quiet")
        _run(*pip, "--require-hashes", "--requirement", ROOT / "requirements" / "run.txt")
        _run(*pip, "--no-deps", wheel)
        pullbook = folder / "venv/bin/pullbook"
        said = _run(pullbook, "--version", folder=folder)
        if version not in said:
            msg = f"the wheel calls itself {said.strip()!r}, not {version}"
            raise ReleaseError(msg)
        _run(pullbook, "check", ROOT / "data/examples/tern-0001.csv", folder=folder)
        _run(pullbook, "predict", ROOT / "data/examples/question.yaml", folder=folder)


def main() -> None:
    """Make a release, or put everything back and say why not."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("version")
    version = parser.parse_args().version
    texts = {path: path.read_text(encoding="utf-8") for path in (_CHANGES, _PROJECT)}
    try:
        _must_be_committed()
        today = dt.datetime.now(tz=dt.UTC).date()
        _CHANGES.write_text(dated(texts[_CHANGES], version, today), encoding="utf-8")
        _PROJECT.write_text(versioned(texts[_PROJECT], version), encoding="utf-8")
        wheel = _build()
        _try(wheel, version)
    except ReleaseError as fault:
        for path, text in texts.items():
            path.write_text(text, encoding="utf-8")
        sys.exit(f"no release: {fault}")
    print(f"{wheel.relative_to(ROOT)} is built and works in an empty environment.")
    print(f"Now: make test; git commit -am 'Release {version}'; git tag v{version}")


if __name__ == "__main__":
    main()
