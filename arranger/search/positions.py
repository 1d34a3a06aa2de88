"""Cheapest path of seven three-position switches worked by two movers.

Switches 0-2 belong to the first mover, 3-6 to the second: 27 x 81 = 2187 settings. Every node of
the path charges a price for each setting; between nodes the movers move switches. A mover works on
one switch at a time, so the time between two of its moves is bounded below; the time a mover has
been idle is part of the state where it matters. The two movers' prices add, so one transition costs
27 x 27 + 81 x 81 table rows instead of 2187 x 2187 (Felzenszwalb & Huttenlocher 2012, Theory of
Computing 8:415-428, on separable min-plus transitions). Prices are int32; ties fall to the lowest
state index, so a run is deterministic.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np
import numpy.typing as npt

Table = npt.NDArray[np.int32]

SETTINGS = 2187
INFINITE = 1 << 28
_BLOCK = 1024
#: Positions of every mover's switches: row i of SHAPES[m] is setting i of mover m.
_SIZES = (3, 4)
SHAPES = tuple(np.array(list(product(range(3), repeat=n)), dtype=np.int32) for n in _SIZES)


@dataclass(frozen=True, slots=True)
class Gap:
    """What may move before a node.

    ``leave`` (7 x 3): price of taking a switch away from a position, INFINITE where it must stay.
    ``work``: time between the nodes in the unit of ``Movers.notch``; 0 allows no move at all.
    ``look_back``: how many earlier nodes lie less than one move behind this node. It counts only
    where ``work`` is shorter than a move: then a single one-notch move that began before the
    previous node may end here, if the mover has not ended a move within these nodes. It grows by
    at most one from a short gap to the next, and is at most one after a long gap.
    """

    leave: Table
    work: int
    look_back: int = 0


@dataclass(frozen=True, slots=True)
class Movers:
    """Durations of one- and two-notch moves, price of a notch and of moves that crowd.

    ``calm`` is the time a move takes at leisure: of k moves in a gap, each beyond ``work // calm``
    pays ``crowd`` (the first never does).
    """

    notch: int
    double: int
    calm: int
    price: int
    crowd: int


def decode(state: int) -> tuple[int, ...]:
    """Positions 0-2 of the seven switches of a setting index 0-2186."""
    first, second = divmod(state, 81)
    return (*map(int, SHAPES[0][first]), *map(int, SHAPES[1][second]))


def encode(positions: Sequence[int]) -> int:
    """Setting index of seven positions 0-2."""
    index = 0
    for position in positions:
        index = 3 * index + position
    return index


@lru_cache(maxsize=256)
def _dense(mover: int, work: int, movers: Movers) -> tuple[Table, Table, Table]:
    """Price, time and moved-from incidence of all moves of one mover within ``work``."""
    shape = SHAPES[mover]
    distance = np.abs(shape[:, None, :] - shape[None, :, :])
    moved = distance > 0
    count = moved.sum(axis=2)
    time = (np.array([0, movers.notch, movers.double])[distance]).sum(axis=2)
    extra = np.clip(count - max(1, work // movers.calm), 0, None)
    price = distance.sum(axis=2) * movers.price + extra * movers.crowd
    price = np.where(time <= work, price, INFINITE).astype(np.int32)
    n = len(shape)
    source = np.zeros((n, n, shape.shape[1] * 3), dtype=np.int32)
    for p in range(shape.shape[1]):
        rows, cols = np.nonzero(moved[:, :, p])
        source[rows, cols, 3 * p + shape[rows, p]] = 1
    return price, time.astype(np.int32), source.reshape(n * n, -1).astype(np.float32)


def _tables(mover: int, gap: Gap, movers: Movers, longest: int) -> Table:
    """All transitions of one mover that take at most ``longest``, with the price of leaving."""
    work = min(gap.work, 4 * max(movers.calm, movers.double))
    price, time, source = _dense(mover, work, movers)
    part = gap.leave[:3] if mover == 0 else gap.leave[3:]
    left = np.minimum(part, INFINITE).astype(np.float32)
    table = price + (source @ left.ravel()).astype(np.int32).reshape(price.shape)
    if longest < work:
        table = np.where(time <= longest, table, INFINITE)
    return np.asarray(np.minimum(table, INFINITE), dtype=np.int32)


def _apply(values: Table, table: Table, mover: int) -> Table:
    """Min-plus product of ``values`` (27 x 81) with one mover's table."""
    if mover == 0:
        return np.asarray((values[:, None, :] + table[:, :, None]).min(axis=0))
    return np.asarray((values[:, :, None] + table[None, :, :]).min(axis=1))


def _single(values: Table, gap: Gap, movers: Movers, mover: int) -> Table:
    """Exactly one one-notch move of one mover, from ``values`` (planes x 27 x 81)."""
    planes = values.shape[0]
    out = np.full(values.shape, INFINITE, dtype=np.int32)
    first = 0 if mover == 0 else 3
    for p in range(first, first + _SIZES[mover]):
        tail = 3 ** (6 - p)
        view = values.reshape(planes, -1, 3, tail)
        into = out.reshape(planes, -1, 3, tail)
        cost = (np.minimum(gap.leave[p], INFINITE) + movers.price)[:, None]
        np.minimum(into[:, :, 1:], view[:, :, :2] + cost[:2], out=into[:, :, 1:])
        np.minimum(into[:, :, :2], view[:, :, 1:] + cost[1:], out=into[:, :, :2])
    return np.minimum(out, INFINITE, out=out)


def _age(values: Table, look_back: int) -> tuple[Table, Table]:
    """Split planes (axis 0: free, then ended 1, 2 ... nodes ago) into free and still busy."""
    free = values[0] if values.shape[0] <= look_back + 1 else np.minimum(
        values[0], values[look_back + 1:].min(axis=0))
    return free, values[1:look_back + 1]


def _short(values: Table, gap: Gap, movers: Movers, mover: int, move: bool) -> Table:
    """One mover's step over a short gap; its idle time is axis 0 of ``values``."""
    free, busy = _age(values, gap.look_back)
    rows = [free[None]]
    if move:
        rows.append(_single(free, gap, movers, mover)[None])
    elif len(busy):
        rows.append(np.full_like(free, INFINITE)[None])
    return np.concatenate([*rows, busy])


def _collapse(values: Table) -> Table:
    """Best over both movers' idle times: planes x planes x 27 x 81 -> 27 x 81."""
    return np.asarray(values.reshape(-1, 27, 81).min(axis=0))


def _step(values: Table, gap: Gap, movers: Movers, clocked: bool) -> Table:
    """Values before the node's own price. ``clocked``: the gap after it is a short one."""
    if gap.work < movers.notch:
        move = gap.work > 0
        values = _short(values, gap, movers, 0, move)
        return _short(values.swapaxes(0, 1), gap, movers, 1, move).swapaxes(0, 1)
    flat = _collapse(values)
    if not clocked:
        for mover in (0, 1):
            flat = _apply(flat, _tables(mover, gap, movers, gap.work), mover)
        return np.minimum(flat, INFINITE)[None, None]
    planes = flat[None]
    for mover in (0, 1):
        free = _tables(mover, gap, movers, gap.work - movers.notch)
        full = _tables(mover, gap, movers, gap.work)
        moved = [np.stack([_apply(p, t, mover) for t in (free, full)]) for p in planes]
        planes = np.concatenate(moved)
    # order of planes: first mover free/busy (slow) x second mover free/busy (fast)
    return np.minimum(planes, INFINITE).reshape(2, 2, 27, 81)


def cheapest(nodes: Sequence[Table], gaps: Sequence[Gap],
             movers: Movers) -> tuple[int, tuple[int, ...]]:
    """Cheapest path through ``nodes``.

    Parameters
    ----------
    nodes : one array of 2187 prices a node.
    gaps : ``gaps[t]`` lies before ``nodes[t]``; ``gaps[0]`` is ignored.
    movers : durations and prices of moves.

    Returns
    -------
    The least total and the setting index at every node; INFINITE and no path where the gaps
    allow none.
    """
    if not nodes:
        return 0, ()
    starts = {0: nodes[0].reshape(1, 1, 27, 81)}
    for block in range(_BLOCK, len(nodes), _BLOCK):
        starts[block] = _block(starts[block - _BLOCK], nodes, gaps, movers, block - _BLOCK,
                               block)[-1]
    path: list[int] = []
    state: tuple[int, int, int, int] | None = None
    total = 0
    for block in sorted(starts, reverse=True):
        last = min(block + _BLOCK, len(nodes) - 1)
        tables = _block(starts[block], nodes, gaps, movers, block, last)
        if state is None:
            best = int(tables[-1].argmin())
            total = int(tables[-1].reshape(-1)[best])
            if total >= INFINITE:
                return INFINITE, ()
            state = _unravel(best, tables[-1])
            path.append(state[2] * 81 + state[3])
        for t in range(last, block, -1):
            value = int(tables[t - block][state]) - int(nodes[t][state[2] * 81 + state[3]])
            state = _before(tables[t - block - 1], gaps[t], movers, state, value,
                            _clocked(gaps, t, movers))
            path.append(state[2] * 81 + state[3])
    return total, tuple(reversed(path))


def _clocked(gaps: Sequence[Gap], t: int, movers: Movers) -> bool:
    return t + 1 < len(gaps) and gaps[t + 1].work < movers.notch


def _block(start: Table, nodes: Sequence[Table], gaps: Sequence[Gap], movers: Movers,
           first: int, last: int) -> list[Table]:
    """Tables of nodes first..last inclusive, from the table of node ``first``."""
    tables = [start]
    for t in range(first + 1, last + 1):
        values = _step(tables[-1], gaps[t], movers, _clocked(gaps, t, movers))
        values = values + nodes[t].reshape(27, 81)
        tables.append(np.minimum(values, INFINITE))
    return tables


def _unravel(index: int, table: Table) -> tuple[int, int, int, int]:
    a, b, i, j = (int(x) for x in np.unravel_index(index, table.shape))
    return a, b, i, j


def _before(earlier: Table, gap: Gap, movers: Movers, state: tuple[int, int, int, int],
            value: int, clocked: bool) -> tuple[int, int, int, int]:
    """Find the predecessor of ``state`` from which it is reached at ``value``."""
    a, b, i, j = state
    if gap.work < movers.notch:
        left = _ways(earlier.shape[0], gap, movers, 0, a, i)
        right = _ways(earlier.shape[1], gap, movers, 1, b, j)
        for (ca, ci, wa), (cb, cj, wb) in product(left, right):
            if int(earlier[ca, cb, ci, cj]) + wa + wb == value:
                return ca, cb, ci, cj
        raise AssertionError("no predecessor: the tables disagree")
    longest = [gap.work - movers.notch if clocked and clock == 0 else gap.work
               for clock in (a, b)]
    into = (_tables(0, gap, movers, longest[0])[:, i][:, None]
            + _tables(1, gap, movers, longest[1])[:, j][None, :])
    return _unravel(int((earlier + into).argmin()), earlier)


def _ways(planes: int, gap: Gap, movers: Movers, mover: int, clock: int,
          setting: int) -> list[tuple[int, int, int]]:
    """One mover's predecessors over a short gap: (clock, setting, price)."""
    aged = [0, *range(gap.look_back + 1, planes)]
    if clock == 0:
        return [(c, setting, 0) for c in aged]
    if clock > 1:
        return [(clock - 1, setting, 0)]
    shape = SHAPES[mover]
    offset = 0 if mover == 0 else 3
    ways = []
    for other, row in enumerate(shape):
        change = np.nonzero(row != shape[setting])[0]
        if len(change) == 1 and abs(int(row[change[0]]) - int(shape[setting][change[0]])) == 1:
            leave = min(int(gap.leave[offset + change[0], row[change[0]]]), INFINITE)
            ways += [(c, other, leave + movers.price) for c in aged]
    return ways
