"""Where Chromium is; a module that imports this is skipped where a browser cannot be driven."""

from __future__ import annotations

import shutil
from importlib.util import find_spec

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
if find_spec("playwright") is None:
    pytest.skip("playwright is not installed; it comes with the browser extra",
                allow_module_level=True)
if CHROMIUM is None:
    pytest.skip("no Chromium on this machine (Debian: apt install chromium)",
                allow_module_level=True)
from playwright.sync_api import Error, expect, sync_playwright  # noqa: E402 - only where it is

__all__ = ["CHROMIUM", "Error", "expect", "sync_playwright"]
