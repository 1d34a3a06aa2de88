"""The inner loops of the position search: one node to the next, and back over a long gap.

Tables are int32, C-ordered: (first's idle times, second's, first's settings, second's). A setting is
numbered like the product of the positions of a mover's switches, the last one fastest.
"""

from __future__ import annotations

import numpy as np

from arranger.search.board import INFINITE, Table
from arranger.search.compiled import compiled

_END = np.int32(INFINITE)  # sums are cast back to 32 bits, so that eight go at once


@compiled
def over_short(values: Table, node: Table, leave: Table, lows: Table, counts: Table,
               price: int, look_back: int, move: bool) -> tuple[Table, int]:
    """Table after a gap in which either mover may end one one-notch move (``move``), or none.

    ``leave``: 7 x 3 prices of leaving a position; ``lows``, ``counts``: lowest position of every
    switch, and how many it has. Returns the table less its least, and that.
    """
    first, second, ours, theirs = values.shape
    if ours > 1:
        turned = _aged(np.ascontiguousarray(values.transpose(0, 2, 1, 3)).reshape(
            first, ours, second * theirs), leave[:3], lows[:3], counts[:3], price, look_back, move)
        first = turned.shape[0]
        values = np.ascontiguousarray(
            turned.reshape(first, ours, second, theirs).transpose(0, 2, 1, 3))
    if theirs > 1:
        turned = _aged(np.ascontiguousarray(values.transpose(1, 3, 0, 2)).reshape(
            second, theirs, first * ours), leave[3:], lows[3:], counts[3:], price, look_back, move)
        second = turned.shape[0]
        values = np.ascontiguousarray(
            turned.reshape(second, theirs, first, ours).transpose(2, 0, 3, 1))
    return _settled(values, node)


@compiled
def _aged(values: Table, leave: Table, lows: Table, counts: Table, price: int, look_back: int,
          move: bool) -> Table:
    """One mover's step over a short gap; ``values``: its idle time, its setting, all else."""
    planes, settings, others = values.shape
    busy = min(planes - 1, look_back)
    rows = 1 + busy + (1 if move or busy > 0 else 0)
    out = np.empty((rows, settings, others), dtype=np.int32)
    free = out[0]
    free[:] = values[0]
    for plane in range(look_back + 1, planes):
        for i in range(settings):
            _lower(free[i], values[plane, i], np.int32(0))
    if rows > 1:
        out[1] = _END
    for plane in range(1, busy + 1):
        out[plane + 1] = values[plane]
    if move:
        stride = 1
        for switch in range(len(counts) - 1, -1, -1):
            for i in range(settings):
                position = i // stride % counts[switch]
                fee = np.int32(min(leave[switch, lows[switch] + position], _END) + price)
                if fee < _END:
                    if position > 0:
                        _lower(out[1, i - stride], free[i], fee)
                    if position + 1 < counts[switch]:
                        _lower(out[1, i + stride], free[i], fee)
            stride *= counts[switch]
    return out


@compiled
def _lower(to: Table, by: Table, fee: int) -> None:
    """Lower ``to`` to ``by`` and the fee, where that is less."""
    for x in range(len(to)):
        to[x] = min(to[x], np.int32(by[x] + fee))


@compiled
def _settled(values: Table, node: Table) -> tuple[Table, int]:
    """Prices of a node added, less the least of all, and that; what cannot be reached stays so."""
    planes, size = values.shape[0] * values.shape[1], node.size
    flat, here = values.reshape(planes, size), node.reshape(size)
    out = np.empty((planes, size), dtype=np.int32)
    least = _END
    for plane in range(planes):
        for x in range(size):
            value = min(np.int32(flat[plane, x] + here[x]), _END)
            out[plane, x] = value
            least = min(least, value)
    if least < INFINITE:
        for plane in range(planes):
            for x in range(size):
                value = out[plane, x]
                out[plane, x] = value if value == _END else np.int32(value - least)
    return out.reshape(values.shape), least


@compiled
def over_long(values: Table, node: Table, prices: tuple[Table, Table], times: tuple[Table, Table],
              leave: Table, shapes: tuple[Table, Table], work: int, early: int,
              clocked: bool) -> tuple[Table, int]:
    """Table after a gap in which each mover may do all that takes at most ``work``.

    ``prices``, ``times``: of each mover, from setting to setting, moves alone; ``shapes``: positions
    of its switches. ``clocked``: a short gap follows, so a mover that is done within ``early``
    (plane 0) is told from one that may not be (plane 1). Returns what ``over_short`` does.
    """
    first, second, ours, theirs = values.shape
    flat = values[0, 0].copy()
    for a in range(first):
        for b in range(second):
            if a or b:
                flat = np.minimum(flat, values[a, b])
    our_planes = 2 if clocked and ours > 1 else 1
    planes = np.empty((our_planes, ours, theirs), dtype=np.int32)
    for plane in range(our_planes):
        longest = early if plane + 1 < our_planes else work
        table = fees(prices[0], times[0], leave[:3], shapes[0], longest)
        out = planes[plane]
        out[:] = 2 * INFINITE
        for i in range(ours):
            for k in range(ours):
                fee = table[i, k]
                if fee < _END:
                    for j in range(theirs):
                        out[k, j] = min(out[k, j], np.int32(flat[i, j] + fee))
    their_planes = 2 if clocked and theirs > 1 else 1
    after = np.empty((our_planes, their_planes, ours, theirs), dtype=np.int32)
    for other in range(their_planes):
        longest = early if other + 1 < their_planes else work
        table = fees(prices[1], times[1], leave[3:], shapes[1], longest)
        for plane in range(our_planes):
            out = after[plane, other]
            out[:] = 2 * INFINITE
            for i in range(ours):
                for j in range(theirs):
                    base = planes[plane, i, j]
                    if base < _END:
                        for k in range(theirs):
                            out[i, k] = min(out[i, k], np.int32(base + table[j, k]))
    return _settled(np.minimum(after, INFINITE), node)


@compiled
def fees(prices: Table, times: Table, leave: Table, shape: Table, longest: int) -> Table:
    """Price of every transition of one mover that takes at most ``longest``, leaving included."""
    size, switches = shape.shape
    out = np.full((size, size), INFINITE, dtype=np.int32)
    for i in range(size):
        for k in range(size):
            if times[i, k] <= longest:
                fee = prices[i, k]
                for switch in range(switches):
                    if shape[i, switch] != shape[k, switch]:
                        fee = min(fee + min(leave[switch, shape[i, switch]], INFINITE), INFINITE)
                out[i, k] = min(fee, INFINITE)
    return out


@compiled
def before_long(earlier: Table, first: Table, second: Table) -> int:
    """Flat index of the cheapest state before one that costs ``first`` and ``second`` to come to.

    ``first``, ``second``: prices of each mover's transitions into that state, by setting.
    """
    best, found, at = 4 * INFINITE, 0, 0
    for a in range(earlier.shape[0]):
        for b in range(earlier.shape[1]):
            for i in range(earlier.shape[2]):
                for j in range(earlier.shape[3]):
                    value = earlier[a, b, i, j] + first[i] + second[j]
                    if value < best:
                        best, found = value, at
                    at += 1
    return found
