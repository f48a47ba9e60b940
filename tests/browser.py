"""The browser of the system, which tests of pages need; in CI a missing one fails."""

from __future__ import annotations

import os
import shutil
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser

BROWSER = next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), ""
)
needs_browser = pytest.mark.skipif(
    not BROWSER and os.environ.get("CI") != "true",
    reason="no browser is installed: Debian's package chromium has one",
)


@contextmanager
def running() -> Iterator[Browser]:
    """Start the browser, and close it in the end."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=BROWSER, args=["--no-sandbox"])
        yield browser
        browser.close()
