"""A release dates the changelog and sets the version, or changes nothing; tests pass after it."""

import datetime as dt
import importlib.util
import subprocess
import tomllib
from pathlib import Path

import pytest
import yaml

ROOT = Path(__file__).parents[1]
_FOUND = importlib.util.spec_from_file_location("release", ROOT / ".ci" / "release.py")
release = importlib.util.module_from_spec(_FOUND)
_FOUND.loader.exec_module(release)

DAY = dt.date(2026, 12, 1)
TEXT = "# Changes\n\n## 0.2.0 - unreleased\n\n- new\n\n## 0.1.0 - 2026-01-01\n\n- old\n"
FILES = ("CHANGELOG.md", "pyproject.toml", "CITATION.cff")


def texts(folder=ROOT):
    return {name: (folder / name).read_text(encoding="utf-8") for name in FILES}


def git(folder, *words):
    who = ("-c", "user.name=x", "-c", "user.email=x@example.org")
    subprocess.run(["git", *who, *words], cwd=folder, check=True)  # noqa: S607 - whichever git


@pytest.fixture
def clone(tmp_path, monkeypatch):
    """Return a folder with our own files that a release changes, committed and before a release."""
    text = texts()
    if "- unreleased" not in text["CHANGELOG.md"]:
        text["CHANGELOG.md"] = release.opened(text["CHANGELOG.md"], "9.9.8")
    for name, content in text.items():
        (tmp_path / name).write_text(content, encoding="utf-8")
    (tmp_path / ".gitignore").write_text("dist/\nbuild/\n")
    for words in (("init", "-q"), ("add", "-A"), ("commit", "-qm", "all")):
        git(tmp_path, *words)
    for name, file in zip(("_CHANGES", "_PROJECT", "_CITATION"), FILES, strict=True):
        monkeypatch.setattr(release, name, tmp_path / file)
    monkeypatch.setattr(release, "ROOT", tmp_path)
    monkeypatch.setattr(release, "_build", lambda: tmp_path / "dist" / "made.whl")
    monkeypatch.setattr(release, "_try", lambda *_: None)
    return tmp_path


def test_what_is_unreleased_gets_version_and_date():
    changed = release.dated(TEXT, "0.3.0", DAY)
    assert "## 0.3.0 - 2026-12-01\n\n- new" in changed
    assert "## 0.1.0 - 2026-01-01" in changed


def test_our_own_changelog_fits_our_version():
    release.check(*[texts()[name] for name in FILES[:2]])


@pytest.mark.parametrize(
    ("text", "version"), [(TEXT, "next"), (TEXT.replace("unreleased", "2026-02-02"), "0.3.0")]
)
def test_what_cannot_be_released_is_said(text, version):
    with pytest.raises(release.ReleaseError):
        release.dated(text, version, DAY)


def test_the_checklist_can_be_walked_from_one_release_to_the_next(clone):
    release.release("9.9.9")
    after = texts(clone)
    assert "- unreleased" not in after["CHANGELOG.md"]
    assert tomllib.loads(after["pyproject.toml"])["project"]["version"] == "9.9.9"
    cited = yaml.safe_load(after["CITATION.cff"])
    assert (cited["version"], isinstance(cited["date-released"], dt.date)) == ("9.9.9", True)
    release.check(after["CHANGELOG.md"], after["pyproject.toml"])  # `make test` before the commit

    (clone / "CHANGELOG.md").write_text(release.opened(after["CHANGELOG.md"], "9.10.0"))
    with pytest.raises(release.ReleaseError, match="not committed"):
        release.release("9.10.0")
    git(clone, "commit", "-qam", "opened")
    release.check(texts(clone)["CHANGELOG.md"], after["pyproject.toml"])
    release.release("9.10.0")
    assert texts(clone)["CITATION.cff"].count("date-released") == 1


def test_a_release_that_fails_changes_nothing(clone, monkeypatch):
    def fail(*_):
        msg = "the wheel does not start"
        raise release.ReleaseError(msg)

    monkeypatch.setattr(release, "_try", fail)
    before = texts(clone)
    with pytest.raises(release.ReleaseError, match="does not start"):
        release.release("9.9.9")
    assert texts(clone) == before


@pytest.mark.parametrize("version", ["0.2.0", "0.1.9", "next"])
def test_the_next_section_comes_after_the_last(version):
    with pytest.raises(release.ReleaseError):
        release.opened(TEXT.replace("unreleased", "2026-02-02"), version)


def test_a_section_is_opened_once():
    with pytest.raises(release.ReleaseError, match="not released"):
        release.opened(TEXT, "0.3.0")


@pytest.mark.parametrize(
    "text",
    [
        TEXT.replace("unreleased", "2026-02-02"),  # newest section of another version
        TEXT.replace("2026-01-01", "unreleased"),
        "# Changes\n",
    ],
)
def test_a_changelog_that_does_not_fit_is_refused(text):
    with pytest.raises(release.ReleaseError):
        release.check(text, '[project]\nversion = "0.1.0"\n')


def test_the_citation_is_of_our_version():
    cited = yaml.safe_load(texts()["CITATION.cff"])
    assert cited["version"] == tomllib.loads(texts()["pyproject.toml"])["project"]["version"]
    assert {"cff-version", "message", "title", "authors"} <= set(cited)
