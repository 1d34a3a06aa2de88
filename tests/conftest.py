"""Property tests draw the same examples everywhere, with ``SEARCH=1`` new ones; one browser."""

from __future__ import annotations

import os

import pytest
from hypothesis import settings

settings.register_profile("same", derandomize=True)
settings.register_profile("search", derandomize=False)
settings.load_profile("search" if os.environ.get("SEARCH") else "same")


@pytest.fixture(scope="module")
def browser():
    """A Chromium; the modules that ask for it are skipped where there is none (``chromium``)."""
    from tests.chromium import CHROMIUM, Error, sync_playwright
    with sync_playwright() as playwright:
        try:
            started = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        except Error as error:
            pytest.skip(f"Chromium does not start: {str(error).splitlines()[0]}")
        yield started
        started.close()
