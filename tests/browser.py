"""The browser of the system, which tests of pages need; in CI a missing one fails."""

from __future__ import annotations

import os
import shutil

import pytest

BROWSER = next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), ""
)
needs_browser = pytest.mark.skipif(
    not BROWSER and os.environ.get("CI") != "true",
    reason="no browser is installed: Debian's package chromium has one",
)
