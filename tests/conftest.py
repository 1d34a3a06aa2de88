"""Property tests draw the same examples everywhere; with ``SEARCH=1`` they draw new ones."""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("same", derandomize=True)
settings.register_profile("search", derandomize=False)
settings.load_profile("search" if os.environ.get("SEARCH") else "same")
