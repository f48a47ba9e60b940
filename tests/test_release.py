"""A release dates the changelog and sets the version, or changes nothing."""

import datetime as dt
import importlib.util
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
_FOUND = importlib.util.spec_from_file_location("release", ROOT / ".ci" / "release.py")
release = importlib.util.module_from_spec(_FOUND)
_FOUND.loader.exec_module(release)

DAY = dt.date(2026, 12, 1)
TEXT = "# Changes\n\n## 0.2.0 - unreleased\n\n- new\n\n## 0.1.0 - 2026-01-01\n\n- old\n"


def test_what_is_unreleased_gets_version_and_date():
    changed = release.dated(TEXT, "0.3.0", DAY)
    assert "## 0.3.0 - 2026-12-01\n\n- new" in changed
    assert "## 0.1.0 - 2026-01-01" in changed


def test_our_own_changelog_and_project_can_be_released():
    changes = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    assert "## 9.9.9 - 2026-12-01" in release.dated(changes, "9.9.9", DAY)
    project = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    assert tomllib.loads(release.versioned(project, "9.9.9"))["project"]["version"] == "9.9.9"


@pytest.mark.parametrize(
    ("text", "version"), [(TEXT, "next"), (TEXT.replace("unreleased", "2026-02-02"), "0.3.0")]
)
def test_what_cannot_be_released_is_said(text, version):
    with pytest.raises(release.ReleaseError):
        release.dated(text, version, DAY)
