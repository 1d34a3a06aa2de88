"""Loops that are compiled to machine code when first called, and kept for later runs."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba

F = TypeVar("F", bound=Callable[..., Any])
_MADE: list[Any] = []

if "scipy.linalg" not in sys.modules:
    # numba looks for linear algebra, which takes 0.2 s to import and no loop here needs
    sys.modules["scipy.linalg"] = cast(Any, None)
    try:
        import numba.np.arraymath
    finally:
        del sys.modules["scipy.linalg"]


def compiled(function: F) -> F:
    """Return the function, compiled; where nothing can be kept, it is compiled in every run."""
    try:
        made = numba.njit(cache=True)(function)
    except RuntimeError:  # no folder that may be written to
        made = numba.njit(function)
    _MADE.append(made)
    return cast(F, made)


def kept() -> bool:
    """Tell whether an earlier run has left compiled loops, so that this one need not wait."""
    folders = {made.stats.cache_path for made in _MADE} - {None}
    return any(next(Path(folder).glob("*.nbi"), None) for folder in folders)
