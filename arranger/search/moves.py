"""From the prices before a node to those after it, and back: what the movers may do in a gap.

A transition costs 27 x 27 + 81 x 81 table rows instead of 2187 x 2187, as the two movers' prices
add (Felzenszwalb & Huttenlocher 2012, Theory of Computing 8:415-428, on separable min-plus
transitions).
"""

from __future__ import annotations

from functools import lru_cache
from itertools import product
from math import prod

import numpy as np
import numpy.typing as npt

from arranger.search.board import INFINITE, SWITCHES, Board, Gap, Movers, State, Table


def normal(values: Table) -> tuple[Table, int]:
    """Prices less their least, and that; what cannot be reached stays INFINITE."""
    least = int(values.min())
    if least >= INFINITE:
        return np.full_like(values, INFINITE), INFINITE
    lost = values >= INFINITE
    values = values - least
    np.putmask(values, lost, INFINITE)
    return values, least


@lru_cache(maxsize=512)
def _dense(ranges: tuple[tuple[int, int], ...], mover: int, work: int,
           movers: Movers) -> tuple[Table, Table, npt.NDArray[np.float32]]:
    """Price, time and moved-from incidence of all moves of one mover within ``work``."""
    shape = Board(ranges).shapes[mover]
    distance = np.abs(shape[:, None, :] - shape[None, :, :])
    moved = distance > 0
    count = moved.sum(axis=2)
    time = (np.array([0, movers.notch, movers.double])[distance]).sum(axis=2)
    extra = np.clip(count - max(1, work // movers.calm), 0, None)
    price = distance.sum(axis=2) * movers.price + extra * movers.crowd
    price = np.where(time <= work, price, INFINITE).astype(np.int32)
    n = len(shape)
    source = np.zeros((n, n, shape.shape[1] * 3), dtype=np.float32)
    for p in range(shape.shape[1]):
        rows, cols = np.nonzero(moved[:, :, p])
        source[rows, cols, 3 * p + shape[rows, p]] = 1
    return price, time.astype(np.int32), source.reshape(n * n, -1)


def _tables(mover: int, gap: Gap, movers: Movers, longest: int, board: Board) -> Table:
    """All transitions of one mover that take at most ``longest``, with the price of leaving."""
    work = min(gap.work, 4 * max(movers.calm, movers.double))
    price, time, source = _dense(board.ranges, mover, work, movers)
    left = np.minimum(gap.leave[SWITCHES[mover]], INFINITE).astype(np.float32)
    table = price + (source @ left.ravel()).astype(np.int32).reshape(price.shape)
    if longest < work:
        table = np.where(time <= longest, table, INFINITE)
    return np.asarray(np.minimum(table, INFINITE), dtype=np.int32)


def _apply(values: Table, table: Table, mover: int) -> Table:
    """Min-plus product of ``values`` (first's settings x second's) with one mover's table."""
    if mover == 0:
        return np.asarray((values[:, None, :] + table[:, :, None]).min(axis=0))
    return np.asarray((values[:, :, None] + table[None, :, :]).min(axis=1))


def _single(values: Table, gap: Gap, movers: Movers, mover: int, board: Board) -> Table:
    """Exactly one one-notch move of one mover, from ``values`` (planes x settings of both)."""
    order = (1, 0, 2) if mover == 0 else (2, 0, 1)
    front = values.transpose(order)  # the mover's settings first, so that runs are long
    source = np.ascontiguousarray(front)
    out = np.full(source.shape, INFINITE, dtype=np.int32)
    own = board.ranges[SWITCHES[mover]]
    counts = [high - low + 1 for low, high in own]
    for p, (low, high) in enumerate(own):
        leave = gap.leave[SWITCHES[mover].start + p, low:high + 1]
        if low == high or leave.min() >= INFINITE:
            continue
        view = source.reshape(prod(counts[:p]), counts[p], -1)
        into = out.reshape(view.shape)
        moved = view + (leave + movers.price)[:, None]
        np.minimum(into[:, 1:], moved[:, :-1], out=into[:, 1:])
        np.minimum(into[:, :-1], moved[:, 1:], out=into[:, :-1])
    np.minimum(out, INFINITE, out=out)
    return out.transpose((1, 0, 2) if mover == 0 else (1, 2, 0))


def _age(values: Table, look_back: int) -> tuple[Table, Table]:
    """Split planes (axis 0: free, then ended 1, 2 ... nodes ago) into free and still busy."""
    free = values[0] if values.shape[0] <= look_back + 1 else np.minimum(
        values[0], values[look_back + 1:].min(axis=0))
    return free, values[1:look_back + 1]


def _short(values: Table, gap: Gap, movers: Movers, mover: int, move: bool,
           board: Board) -> Table:
    """One mover's step over a short gap; its idle time is axis 0 of ``values``."""
    if board.size[mover] == 1:  # it has nothing to move, and no clock
        return values
    free, busy = _age(values, gap.look_back)
    rows = [free[None]]
    if move:
        rows.append(_single(free, gap, movers, mover, board)[None])
    elif len(busy):
        rows.append(np.full_like(free, INFINITE)[None])
    return np.concatenate([*rows, busy])


def _collapse(values: Table) -> Table:
    """Best over both movers' idle times."""
    return np.asarray(values.reshape(-1, *values.shape[2:]).min(axis=0))


def step(values: Table, gap: Gap, movers: Movers, clocked: bool, board: Board) -> Table:
    """Values before the node's own price. ``clocked``: the gap after it is a short one."""
    if gap.work < movers.notch:
        move = gap.work > 0
        values = _short(values, gap, movers, 0, move, board)
        return _short(values.swapaxes(0, 1), gap, movers, 1, move, board).swapaxes(0, 1)
    flat = _collapse(values)
    if not clocked:
        for mover in (0, 1):
            flat = _apply(flat, _tables(mover, gap, movers, gap.work, board), mover)
        return np.minimum(flat, INFINITE)[None, None]
    planes = flat[None]
    clocks = []
    for mover in (0, 1):
        works = (gap.work - movers.notch, gap.work) if board.size[mover] > 1 else (gap.work,)
        tables = [_tables(mover, gap, movers, work, board) for work in works]
        planes = np.concatenate([np.stack([_apply(p, t, mover) for t in tables]) for p in planes])
        clocks.append(len(works))
    # order of planes: first mover free/busy (slow) x second mover free/busy (fast)
    return np.minimum(planes, INFINITE).reshape(*clocks, *board.size)


def unravel(index: int, table: Table) -> State:
    """Return the state that a flat index of a table means."""
    a, b, i, j = (int(x) for x in np.unravel_index(index, table.shape))
    return a, b, i, j


def before(earlier: Table, gap: Gap, movers: Movers, state: State,
            value: int, clocked: bool, board: Board) -> State:
    """Find the predecessor of ``state`` from which it is reached at ``value``."""
    a, b, i, j = state
    if gap.work < movers.notch:
        left = _ways(earlier.shape[0], gap, movers, 0, a, i, board)
        right = _ways(earlier.shape[1], gap, movers, 1, b, j, board)
        for (ca, ci, wa), (cb, cj, wb) in product(left, right):
            if int(earlier[ca, cb, ci, cj]) + wa + wb == value:
                return ca, cb, ci, cj
        raise AssertionError("no predecessor: the tables disagree")
    longest = [gap.work - movers.notch if clocked and clock == 0 else gap.work
               for clock in (a, b)]
    into = (_tables(0, gap, movers, longest[0], board)[:, i][:, None]
            + _tables(1, gap, movers, longest[1], board)[:, j][None, :])
    return unravel(int((earlier + into).argmin()), earlier)


def _ways(planes: int, gap: Gap, movers: Movers, mover: int, clock: int,
          setting: int, board: Board) -> list[tuple[int, int, int]]:
    """One mover's predecessors over a short gap: (clock, setting, price)."""
    aged = [0, *range(gap.look_back + 1, planes)]
    if clock == 0:
        return [(c, setting, 0) for c in aged]
    if clock > 1:
        return [(clock - 1, setting, 0)]
    shape = board.shapes[mover]
    offset = 0 if mover == 0 else 3
    ways = []
    for other, row in enumerate(shape):
        change = np.nonzero(row != shape[setting])[0]
        if len(change) == 1 and abs(int(row[change[0]]) - int(shape[setting][change[0]])) == 1:
            leave = min(int(gap.leave[offset + change[0], row[change[0]]]), INFINITE)
            ways += [(c, other, leave + movers.price) for c in aged]
    return ways
