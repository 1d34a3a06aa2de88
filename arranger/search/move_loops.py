"""The inner loops of the position search: one node to the next, and back over a long gap.

Tables are int32, C-ordered: (first's idle times, second's, first's settings, second's). A setting
is numbered like the product of the positions of a mover's switches, the last one fastest.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from arranger.search.board import END, FAR, INFINITE, Table
from arranger.search.compiled import compiled


@compiled
def over_short(values: Table, node: Table, leave: Table, lows: Table, counts: Table,
               price: int, look_back: int, move: bool) -> tuple[Table, int]:
    """Table after a gap in which either mover may end one one-notch move (``move``), or none.

    ``leave``: 7 x 3 prices of leaving a position; ``lows``, ``counts``: lowest position of every
    switch, and how many it has. Returns the table less its least, and that.
    """
    if values.shape[2] > 1:
        values = _first_moves(values, leave[:3], lows[:3], counts[:3], price, look_back, move)
    if values.shape[3] > 1:
        values = _second_moves(values, leave[3:], lows[3:], counts[3:], price, look_back, move)
    return _settled(values, node)


@compiled
def _first_moves(values: Table, leave: Table, lows: Table, counts: Table, price: int,
                 look_back: int, move: bool) -> Table:
    """The first mover's step over a short gap: moved or not, and its idle time grown."""
    planes, second, ours, theirs = values.shape
    rows, size = idle_times(planes, look_back, move), second * ours * theirs
    out = np.empty((rows, second, ours, theirs), dtype=np.int32)
    _age(values.reshape(planes, size), out.reshape(rows, size), look_back)
    if not move:
        return out
    stride = 1
    for switch in range(len(counts) - 1, -1, -1):
        for i in range(ours):
            position = i // stride % counts[switch]
            fee = np.int32(min(leave[switch, lows[switch] + position], END) + price)
            for b in range(second):
                if position > 0 and fee < END:
                    _lower(out[1, b, i - stride], out[0, b, i], fee)
                if position + 1 < counts[switch] and fee < END:
                    _lower(out[1, b, i + stride], out[0, b, i], fee)
        stride *= counts[switch]
    return out


@compiled
def _second_moves(values: Table, leave: Table, lows: Table, counts: Table, price: int,
                  look_back: int, move: bool) -> Table:
    """The second mover's step over a short gap, as ``_first_moves``."""
    first, planes, ours, theirs = values.shape
    rows, size = idle_times(planes, look_back, move), ours * theirs
    out = np.empty((first, rows, ours, theirs), dtype=np.int32)
    for a in range(first):
        _age(values[a].reshape(planes, size), out[a].reshape(rows, size), look_back)
    if not move:
        return out
    down, up = np.empty(theirs, dtype=np.int32), np.empty(theirs, dtype=np.int32)
    stride = 1
    for switch in range(len(counts) - 1, -1, -1):
        if counts[switch] > 1:
            for x in range(theirs):
                position = x // stride % counts[switch]
                fee = min(leave[switch, lows[switch] + position], END) + price
                down[x] = min(fee, END) if position > 0 else END
                up[x] = min(fee, END) if position + 1 < counts[switch] else END
            for a in range(first):
                for i in range(ours):
                    _lower_each(out[a, 1, i, :-stride], out[a, 0, i, stride:], down[stride:])
                    _lower_each(out[a, 1, i, stride:], out[a, 0, i, :-stride], up)
        stride *= counts[switch]
    return out


@compiled
def idle_times(planes: int, look_back: int, move: bool) -> int:
    """Idle times to be told apart after a short gap, of ``planes`` before it."""
    busy = min(planes - 1, look_back)
    return 1 + busy + (1 if move or busy > 0 else 0)


@compiled
def _age(old: Table, new: Table, look_back: int) -> None:
    """Idle times grow: those past ``look_back`` are free (row 0), row 1 is for who just moved."""
    for x in range(old.shape[1]):
        new[0, x] = old[0, x]
    for plane in range(look_back + 1, old.shape[0]):
        for x in range(old.shape[1]):
            new[0, x] = min(new[0, x], old[plane, x])
    for row in range(1, new.shape[0]):
        for x in range(old.shape[1]):
            new[row, x] = old[row - 1, x] if row > 1 else END


@compiled
def _lower(to: Table, by: Table, fee: np.int32) -> None:
    """Lower ``to`` to ``by`` and the fee, where that is less."""
    for x in range(len(to)):
        to[x] = min(to[x], np.int32(by[x] + fee))


@compiled
def _lower_each(to: Table, by: Table, fees: Table) -> None:
    """Lower ``to`` to ``by`` and a fee each, where that is less."""
    for x in range(len(to)):
        to[x] = min(to[x], np.int32(by[x] + fees[x]))


@compiled
def _settled(values: Table, node: Table) -> tuple[Table, int]:
    """Prices of a node added, less the least of all, and that; what cannot be reached stays so."""
    planes, size = values.shape[0] * values.shape[1], node.size
    flat, here = values.reshape(planes, size), node.reshape(size)
    out = np.empty((planes, size), dtype=np.int32)
    least = END
    for plane in range(planes):
        for x in range(size):
            value = min(np.int32(min(flat[plane, x], END) + here[x]), END)
            out[plane, x] = value
            least = min(least, value)
    if least < INFINITE:
        for plane in range(planes):
            for x in range(size):
                value = out[plane, x]
                out[plane, x] = value if value == END else np.int32(value - least)
    return out.reshape(values.shape), int(least)


@compiled
def over_long(values: Table, node: Table, prices: tuple[Table, Table], times: tuple[Table, Table],
              leave: Table, shapes: tuple[Table, Table], work: int, early: int,
              clocked: bool) -> tuple[Table, int]:
    """Table after a gap in which each mover may do all that takes at most ``work``.

    ``prices``, ``times``: of each mover, from setting to setting, moves alone; ``shapes``: the
    positions of its switches. ``clocked``: a short gap follows, so a mover that is done within
    ``early`` (plane 0) is told from one that may not be (plane 1). Returns as ``over_short``.
    """
    first, second, ours, theirs = values.shape
    flat = np.empty((ours, theirs), dtype=np.int32)
    for i in range(ours):
        for j in range(theirs):
            flat[i, j] = values[0, 0, i, j]
            for a in range(first):
                for b in range(second):
                    flat[i, j] = min(flat[i, j], values[a, b, i, j])
    our_planes = 2 if clocked and ours > 1 else 1
    planes = np.empty((our_planes, ours, theirs), dtype=np.int32)
    for plane in range(our_planes):
        longest = early if plane + 1 < our_planes else work
        table = _fees(prices[0], times[0], leave[:3], shapes[0], longest, 0, ours)
        out = planes[plane]
        out.fill(FAR)
        for i in range(ours):
            for k in range(ours):
                fee = table[i, k]
                if fee < END:
                    for j in range(theirs):
                        out[k, j] = min(out[k, j], np.int32(flat[i, j] + fee))
    width = (our_planes * ours + 15) // 16 * 16  # whole vectors
    before = np.full((theirs, width), END, dtype=np.int32)
    for plane in range(our_planes):
        for i in range(ours):
            for j in range(theirs):
                before[j, plane * ours + i] = min(planes[plane, i, j], END)
    their_planes = 2 if clocked and theirs > 1 else 1
    after = np.empty((our_planes, their_planes, ours, theirs), dtype=np.int32)
    moved = np.empty((theirs, width), dtype=np.int32)
    for other in range(their_planes):
        longest = early if other + 1 < their_planes else work
        table = _fees(prices[1], times[1], leave[3:], shapes[1], longest, 0, theirs)
        moved.fill(FAR)
        for j in range(theirs):
            for k in range(theirs):
                fee = table[j, k]
                if fee < END:  # few settings can be reached in a gap: these loops outside
                    for i in range(width):
                        moved[k, i] = min(moved[k, i], np.int32(before[j, i] + fee))
        for plane in range(our_planes):
            for i in range(ours):
                for k in range(theirs):
                    after[plane, other, i, k] = moved[k, plane * ours + i]
    return _settled(after, node)


@compiled
def _fees(prices: Table, times: Table, leave: Table, shape: Table, longest: int, to: int,
          end: int) -> Table:
    """Price of the transitions of one mover that take at most ``longest``, leaving included.

    From every setting to those from ``to`` up to ``end``.
    """
    size, switches = shape.shape
    out = np.full((size, end - to), INFINITE, dtype=np.int32)
    for i in range(size):
        for k in range(to, end):
            if times[i, k] <= longest:
                fee = prices[i, k]
                for switch in range(switches):
                    if shape[i, switch] != shape[k, switch]:
                        fee = min(fee + min(leave[switch, shape[i, switch]], INFINITE), INFINITE)
                out[i, k - to] = min(fee, INFINITE)
    return out


@compiled
def before_short(earlier: Table, leave: Table, shapes: tuple[Table, Table], price: int,
                 look_back: int, state: tuple[int, int, int, int], value: int) -> int:
    """Flat index of the first state from which ``state`` is reached at ``value``; -1: none.

    ``leave``, ``price``, ``look_back``: as ``over_short``; ``shapes``: as ``over_long``.
    """
    a, b, i, j = state
    first = _comings(earlier.shape[0], leave[:3], shapes[0], price, look_back, a, i)
    second = _comings(earlier.shape[1], leave[3:], shapes[1], price, look_back, b, j)
    for one in first:
        for other in second:
            if earlier[one[0], other[0], one[1], other[1]] + one[2] + other[2] == value:
                return int(((one[0] * earlier.shape[1] + other[0]) * earlier.shape[2] + one[1])
                           * earlier.shape[3] + other[1])
    return -1


@compiled
def _comings(planes: int, leave: Table, shape: Table, price: int, look_back: int, clock: int,
             setting: int) -> npt.NDArray[np.int64]:
    """One mover's states before a short gap, a row each: idle time, setting, price of the move."""
    if clock > 1:
        return np.array([[clock - 1, setting, 0]])
    free = max(0, planes - look_back - 1)  # idle times past looking back, which are one after it
    found = np.empty(((1 + free) * len(shape), 3), dtype=np.int64)
    count = 0
    for other in range(len(shape)):
        moved, fee = 0, price
        for switch in range(shape.shape[1]):
            moved += abs(shape[other, switch] - shape[setting, switch])
            if shape[other, switch] != shape[setting, switch]:
                fee = price + min(leave[switch, shape[other, switch]], INFINITE)
        if moved == clock:
            for aged in range(1 + free):
                found[count, 0] = 0 if aged == 0 else look_back + aged
                found[count, 1], found[count, 2] = other, fee if clock else 0
                count += 1
    return found[:count]


@compiled
def before_long(earlier: Table, leave: Table, shapes: tuple[Table, Table],
                prices: tuple[Table, Table], times: tuple[Table, Table],
                longest: tuple[int, int], i: int, j: int) -> int:
    """Flat index of the cheapest state before one of settings ``i`` and ``j``.

    ``longest``: time that the moves of each mover may take; the rest as ``over_long``.
    """
    first = _fees(prices[0], times[0], leave[:3], shapes[0], longest[0], i, i + 1)[:, 0]
    second = _fees(prices[1], times[1], leave[3:], shapes[1], longest[1], j, j + 1)[:, 0]
    best, found, at = 4 * INFINITE, 0, 0
    for a in range(earlier.shape[0]):
        for b in range(earlier.shape[1]):
            for k in range(earlier.shape[2]):
                for m in range(earlier.shape[3]):
                    value = earlier[a, b, k, m] + first[k] + second[m]
                    if value < best:
                        best, found = value, at
                    at += 1
    return found
