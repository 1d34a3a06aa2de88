"""Loops that are compiled to machine code when first called, and kept for later runs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

F = TypeVar("F", bound=Callable[..., Any])


def compiled(function: F) -> F:
    """Return the function, compiled; where nothing can be kept, it is compiled in every run."""
    try:
        made = numba.njit(cache=True)(function)
    except RuntimeError:  # no folder that may be written to
        made = numba.njit(function)
    return cast(F, made)
