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
#: Share of its greatest speed at which a hand travels at leisure (assumption).
_LEISURE = 0.5
#: Strings of a slow step beyond which the hand leaps, whatever it spans.
_OCTAVE = 7
#: Part of the price of a turn that is left where the hand has time to be placed anew (assumption).
_SLOW_TURN = 3
#: Strings from which on a hand placed anew is a chord.
_CHORD = 3
#: Strings from which on a grip that comes again is placed again as it was (common practice); single
#: notes change fingers.
_PAIR = 2

Grips = npt.NDArray[np.int64]  #: columns of ``GripCosts``, a row each


class Fees(NamedTuple):
    """What the loops need of a player (strings, seconds, ``lowest`` finger) and of the prices."""

    span: float
    travel_speed: float
    wire_factor: float
    restrike_error: float
    restrike_warning: float
    restrike_free: float
    same_finger: float
    lead: float
    afresh: float
    collision_time: float
    travel: int
    leap: int
    replace: int
    apart: int
    restrike: int
    restrike_easy: int
    restrike_wire: int
    hop: int
    hop_quick: int
    late_bottom: int
    under: int
    lowest: int
    collision: int
    near_after: int
    swing: int
    impossible: int


@compiled
def own_prices(grips: Grips, turns: Grips, fees: Fees, old: Ids, age: Times, new: Ids) -> Table:
    """Travel, turning, the same finger or string again (old x new); 0 after no grip.

    A thumb that slides to the string below pays that alone; a chord whose lowest finger is free
    and near is anchored there, and has one string less to place.
    """
    out = np.zeros((len(old), len(new)), dtype=np.int32)
    for k in range(len(old)):
        a = old[k]
        if a < 0:
            continue
        reach = fees.span + fees.travel_speed * age[k]
        easy = fees.span + _LEISURE * fees.travel_speed * age[k]
        again = _again(fees, age[k], 1.0)
        wired = _again(fees, age[k], fees.wire_factor)
        hop = fees.hop if age[k] < fees.same_finger - _EPS else 0
        quick = fees.hop_quick if age[k] < fees.lead - _EPS else 0
        bottom = fees.late_bottom if age[k] < fees.lead - _EPS else 0
        afresh = fees.replace if age[k] < fees.collision_time - _EPS else 0
        swing = fees.swing if age[k] < fees.collision_time - _EPS else 0
        for j in range(len(new)):
            b = new[j]
            width = max(grips[1, a], grips[1, b]) - min(grips[0, a], grips[0, b])
            price = max(width - reach, 0.0) * fees.travel + max(width - easy, 0.0) * fees.leap
            strings = _count(grips[2, a] & grips[2, b])
            wires = _count(grips[8, a] & grips[2, b])
            fingers = _count(grips[5, a] & grips[5, b])
            price += ((strings - wires) * again + wires * wired) * grips[6, b] // 100
            same = (strings >= _PAIR and grips[2, a] == grips[2, b]
                    and grips[5, a] == grips[5, b])
            if not same and not _slides(grips, fees, a, age[k], b):
                price += fingers * hop + max(fingers - strings, 0) * quick
            held = grips[2, a] >> grips[0, b] & 1
            if not held:
                price += _count(grips[7, b] & grips[5, a]) * bottom
            price += _count(grips[11, a] & grips[2, b]) * swing
            price += _turning(grips, turns, fees, a, age[k], b)
            if grips[1, b] < grips[0, a] and 0 < grips[4, b] < fees.lowest and (
                    grips[4, a] == 0 or width > fees.span):
                price += fees.under
            placed = _count(grips[2, b] & ~grips[2, a])
            if placed >= _CHORD:
                free = not held and not grips[5, a] >> grips[9, b] & 1
                price += (placed - (free and width <= fees.span)) * afresh
            out[k, j] = np.int32(price)
    return out


@compiled
def _slides(grips: Grips, fees: Fees, a: int, age: float, b: int) -> bool:
    """Tell whether the thumb slides from one single note to the string below (Volpe Bligh)."""
    return (grips[4, a] == 1 and grips[4, b] == 1 and grips[0, a] - grips[0, b] == 1
            and age <= fees.afresh)


@compiled
def _turning(grips: Grips, turns: Grips, fees: Fees, a: int, age: float, b: int) -> int:
    """Price of passing from the fingers of grip ``a`` to those of ``b`` above or below it.

    In a line of single notes while the hand stays where it is, else where there is no time to
    place it anew; in a slower line a part of it, and the price of one finger for two notes.
    """
    single = grips[4, a] > 0 and grips[4, b] > 0
    slow = age >= fees.lead - _EPS and not (single and age <= fees.afresh)
    if slow:
        width = abs(grips[0, b] - grips[0, a])
        if not single or width > _OCTAVE:
            return 0
        if grips[4, a] == grips[4, b]:
            return fees.apart if width > 0 else 0
    if grips[0, b] > grips[1, a]:
        before, after, steps = grips[10, a], grips[9, b], grips[0, b] - grips[1, a]
    elif grips[1, b] < grips[0, a]:
        before, after, steps = grips[9, a], grips[10, b], grips[1, b] - grips[0, a]
    else:
        return 0
    if before == after and not single:
        return 0  # one finger twice has its price
    price = int(turns[before, after, min(max(steps, -WIDEST), WIDEST)])
    return -(-price // _SLOW_TURN) if slow else price


@compiled
def _again(fees: Fees, age: float, factor: float) -> int:
    """Price of a string plucked again after so many seconds.

    ``factor``: how many times longer wire wants; short of that it only buzzes, with any finger.
    """
    if age < fees.restrike_error - _EPS:
        return fees.impossible
    if age < factor * fees.restrike_error - _EPS:
        return fees.restrike_wire
    if age < factor * fees.restrike_warning - _EPS:
        return fees.restrike
    return fees.restrike_easy if age < factor * fees.restrike_free - _EPS else 0


@compiled
def across_prices(grips: Grips, fees: Fees, old: Ids, age: Times, new: Ids) -> Table:
    """Strings the other hand takes just after this one (old x new); 0 after no grip."""
    out = np.zeros((len(old), len(new)), dtype=np.int32)
    for k in range(len(old)):
        a = old[k]
        each = _again(fees, age[k], 1.0)  # it sounds on, whoever plucks it
        wired = _again(fees, age[k], fees.wire_factor)
        if a < 0 or (age[k] >= fees.collision_time and wired == 0):
            continue
        if fees.restrike_error - _EPS <= age[k] < fees.collision_time - _EPS:
            each = fees.collision
        close = fees.near_after if age[k] < fees.lead - _EPS else 0
        swing = fees.swing if age[k] < fees.collision_time - _EPS else 0
        for j in range(len(new)):
            b = new[j]
            wires = _count(grips[8, a] & grips[2, b])
            price = ((_count(grips[2, a] & grips[2, b]) - wires) * each + wires * max(each, wired)
                     + _count(grips[3, a] & grips[2, b]) * close
                     + _count(grips[11, a] & grips[2, b]) * swing)
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
