"""How far times must be stretched until something goes: doubled until it does, then halved."""

from __future__ import annotations

import math
from collections.abc import Callable

#: Part of the stretch at which halving ends.
CLOSE = 1e-9


def least_stretch(goes: Callable[[float], bool], low: float, high: float,
                  most: float = math.inf) -> float:
    """Least factor by which ``goes``, to a billionth of it; infinite if that is beyond ``most``.

    ``low`` is one by which it does not go, ``high`` the first that is tried; what goes by one
    factor goes by any larger one.
    """
    while not goes(high):
        low, high = high, 2 * high
        if high > most:
            return math.inf
    while high - low > CLOSE * high:
        middle = (low + high) / 2
        if goes(middle):
            high = middle
        else:
            low = middle
    return high
