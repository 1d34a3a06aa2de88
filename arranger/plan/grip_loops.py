"""The inner loops of ``grip_costs``: price tables from the grips of a hand to the next ones."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from arranger.search.board import Table
from arranger.search.compiled import compiled
from arranger.search.pair_loops import Ids
from arranger.search.two_hands import Times

#: Strings on a harp, at most.
WIDEST = 63
_EPS = 1e-6

Grips = npt.NDArray[np.int64]  #: columns of ``GripCosts``, a row each


class Fees(NamedTuple):
    """What the loops need of a player (strings, seconds) and of the prices."""

    span: float
    travel_speed: float
    restrike_error: float
    restrike_warning: float
    restrike_free: float
    same_finger: float
    lead: float
    afresh: float
    collision_time: float
    travel: int
    restrike: int
    restrike_easy: int
    hop: int
    hop_quick: int
    late_bottom: int
    collision: int
    near_after: int
    impossible: int


@compiled
def own_prices(grips: Grips, turns: Grips, fees: Fees, old: Ids, age: Times, new: Ids) -> Table:
    """Travel, turning, the same finger or string again (old x new); 0 after no grip."""
    out = np.zeros((len(old), len(new)), dtype=np.int32)
    for k in range(len(old)):
        a = old[k]
        if a < 0:
            continue
        free = fees.span + fees.travel_speed * age[k]
        again = 0
        if age[k] < fees.restrike_error - _EPS:
            again = fees.impossible
        elif age[k] < fees.restrike_warning - _EPS:
            again = fees.restrike
        elif age[k] < fees.restrike_free - _EPS:
            again = fees.restrike_easy
        hop = fees.hop if age[k] < fees.same_finger - _EPS else 0
        quick = fees.hop_quick if age[k] < fees.lead - _EPS else 0
        bottom = fees.late_bottom if age[k] < fees.lead - _EPS else 0
        single = grips[4, a] if age[k] <= fees.afresh else 0
        for j in range(len(new)):
            b = new[j]
            width = max(grips[1, a], grips[1, b]) - min(grips[0, a], grips[0, b])
            price = max(width - free, 0.0) * fees.travel
            strings = _count(grips[2, a] & grips[2, b])
            fingers = _count(grips[5, a] & grips[5, b])
            price += strings * again * grips[6, b] // 100
            price += fingers * hop + max(fingers - strings, 0) * quick
            if not grips[2, a] >> grips[0, b] & 1:
                price += _count(grips[7, b] & grips[5, a]) * bottom
            steps = min(max(grips[0, b] - grips[0, a], -WIDEST), WIDEST)
            price += turns[single, grips[4, b], steps]
            out[k, j] = np.int32(price)
    return out


@compiled
def across_prices(grips: Grips, fees: Fees, old: Ids, age: Times, new: Ids) -> Table:
    """Strings the other hand takes just after this one (old x new); 0 after no grip."""
    out = np.zeros((len(old), len(new)), dtype=np.int32)
    for k in range(len(old)):
        a = old[k]
        if a < 0 or age[k] >= fees.collision_time:
            continue
        each = 0
        if age[k] < fees.restrike_error - _EPS:
            each = fees.impossible
        elif age[k] < fees.collision_time - _EPS:
            each = fees.collision
        close = fees.near_after if age[k] < fees.lead - _EPS else 0
        for j in range(len(new)):
            b = new[j]
            price = (_count(grips[2, a] & grips[2, b]) * each
                     + _count(grips[3, a] & grips[2, b]) * close)
            out[k, j] = np.int32(price * grips[6, b] // 100)
    return out


@compiled
def _count(bits: int) -> int:
    """Number of bits that are set."""
    found = 0
    while bits:
        bits &= bits - 1
        found += 1
    return found
