"""Cheapest path of seven three-position switches worked by two movers.

Switches 0-2 belong to the first mover, 3-6 to the second: 27 x 81 = 2187 settings, fewer where
switches are confined to some of their positions. Every node of the path charges a price for each
setting; between nodes the movers move switches. A mover works on one switch at a time, so the time
between two of its moves is bounded below; the time a mover has been idle is part of the state where
it matters. The two movers' prices add, so one transition costs 27 x 27 + 81 x 81 table rows instead
of 2187 x 2187 (Felzenszwalb & Huttenlocher 2012, Theory of Computing 8:415-428, on separable
min-plus transitions). Prices are int32; ties fall to the lowest state index, so a run is
deterministic.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import product
from math import prod

import numpy as np
import numpy.typing as npt

Table = npt.NDArray[np.int32]
State = tuple[int, int, int, int]  #: idle time of both movers, setting of both

SETTINGS = 2187
INFINITE = 1 << 28
#: Bytes of tables that are kept from one search to the next; a longer piece is searched in blocks.
_KEPT = 96 << 20
_BLOCK = 1024
SWITCHES = (slice(0, 3), slice(3, 7))  #: the switches of each mover


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


@dataclass(frozen=True)
class Board:
    """The positions that every switch may take, from a lowest to a highest one (0 to 2)."""

    ranges: tuple[tuple[int, int], ...] = ((0, 2),) * 7

    @cached_property
    def shapes(self) -> tuple[Table, Table]:
        """Positions of each mover's switches: row i is setting i of that mover."""
        first, second = (np.array(list(product(*(range(a, b + 1) for a, b in self.ranges[own]))),
                                  dtype=np.int32) for own in SWITCHES)
        return first, second

    @cached_property
    def states(self) -> Table:
        """Positions of all switches, a row a setting."""
        first, second = self.shapes
        return np.array([[*a, *b] for a in first for b in second], dtype=np.int32)

    @property
    def size(self) -> tuple[int, int]:
        """Number of settings of each mover."""
        return len(self.shapes[0]), len(self.shapes[1])


def decode(state: int) -> tuple[int, ...]:
    """Positions 0-2 of the seven switches of a setting index 0-2186."""
    return tuple(state // 3 ** (6 - p) % 3 for p in range(7))


def encode(positions: Sequence[int]) -> int:
    """Setting index of seven positions 0-2."""
    index = 0
    for position in positions:
        index = 3 * index + position
    return index


def cheapest(nodes: Sequence[Table], gaps: Sequence[Gap],
             movers: Movers) -> tuple[int, tuple[int, ...]]:
    """Cheapest path through ``nodes`` over all settings (see ``PositionSearch.cheapest``)."""
    return PositionSearch(gaps, movers).cheapest(nodes)


class PositionSearch:
    """Cheapest paths over the same gaps; only what changed since the last one is found anew.

    ``whole``: never search in blocks, whatever room that takes.
    """

    def __init__(self, gaps: Sequence[Gap], movers: Movers, board: Board = Board(),
                 whole: bool = False) -> None:
        self._whole = whole
        self.board = board
        self._gaps = gaps
        self._movers = movers
        clocks = 1 + max((g.look_back for g in gaps), default=0)
        self._planes = prod(clocks for size in board.size if size > 1)
        self._nodes: list[Table] = []
        self._tables: list[Table] = []
        self._shifts: list[int] = []
        self._kept: list[bool] = []  # a node that is as it was, after a table that is
        self._states: list[State] = []  # the last path, first node first

    def cheapest(self, nodes: Sequence[Table]) -> tuple[int, tuple[int, ...]]:
        """Cheapest path through ``nodes``.

        Parameters
        ----------
        nodes : one array of prices a node, by row of ``board.states``. An array must not be
            changed between calls: a node is known again by being the same array.

        Returns
        -------
        The least total and the setting (row of ``board.states``) at every node; INFINITE and no
        path where the gaps allow none.
        """
        if not nodes:
            return 0, ()
        if self._fits(len(nodes)):
            self._forward(nodes)
            last = self._tables[-1]
            total = sum(self._shifts) + int(last.min())
            if self._shifts[-1] >= INFINITE:
                self._states = []
                return INFINITE, ()
            self._states = self._retraced(nodes, _unravel(int(last.argmin()), last))
            return total, tuple(self._row(s) for s in self._states)
        return self._in_blocks(nodes)

    def twin(self) -> PositionSearch:
        """Another search over the same gaps, with results of its own to keep."""
        return PositionSearch(self._gaps, self._movers, self.board, self._whole)

    def trail(self) -> tuple[tuple[State, int], ...]:
        """State at every node of the last path, and what the path has cost up to there.

        Paths that meet in a state may be crossed there. For a search that is ``whole``.
        """
        found, total = [], 0
        for table, shift, state in zip(self._tables, self._shifts, self._states, strict=True):
            total += shift
            found.append((state, total + int(table[state])))
        return tuple(found)

    def _fits(self, count: int) -> bool:
        return self._whole or count * self._planes * prod(self.board.size) * 4 <= _KEPT

    def _row(self, state: State) -> int:
        return state[2] * self.board.size[1] + state[3]

    def _start(self, node: Table) -> tuple[Table, int]:
        return _normal(node.reshape(1, 1, *self.board.size))

    def _next(self, before: Table, nodes: Sequence[Table], t: int) -> tuple[Table, int]:
        values = _step(before, self._gaps[t], self._movers, self._clocked(t), self.board)
        return _normal(values + nodes[t].reshape(self.board.size))

    def _forward(self, nodes: Sequence[Table]) -> None:
        known = len(nodes) == len(self._nodes)
        tables, shifts, kept = [], [], []
        same = known  # the table before is as it was
        for t, node in enumerate(nodes):
            kept.append(same and node is self._nodes[t])
            if kept[t]:
                tables.append(self._tables[t])
                shifts.append(self._shifts[t])
                continue
            table, shift = self._next(tables[-1], nodes, t) if t else self._start(node)
            same = known and np.array_equal(table, self._tables[t])
            tables.append(self._tables[t] if same else table)
            shifts.append(shift)
        self._nodes, self._tables, self._shifts, self._kept = list(nodes), tables, shifts, kept

    def _retraced(self, nodes: Sequence[Table], state: State) -> list[State]:
        """States up to ``state`` at the last node; where nothing changed, those of last time."""
        path, old = [state], self._states
        for t in range(len(nodes) - 1, 0, -1):
            if old and self._kept[t] and old[t] == state:
                state = old[t - 1]
            else:
                state, = self._backward(self._tables[t - 1:t + 1], self._shifts[t - 1:t + 1],
                                        nodes, t - 1, state)
            path.append(state)
        return path[::-1]

    def _backward(self, tables: Sequence[Table], shifts: Sequence[int], nodes: Sequence[Table],
                  first: int, state: State) -> list[State]:
        """States before ``state``, latest first; ``tables[0]`` is that of node ``first``."""
        path = []
        for at in range(len(tables) - 1, 0, -1):
            t = first + at
            value = int(tables[at][state]) + shifts[at] - int(nodes[t][self._row(state)])
            state = _before(tables[at - 1], self._gaps[t], self._movers, state, value,
                            self._clocked(t), self.board)
            path.append(state)
        return path

    def _in_blocks(self, nodes: Sequence[Table]) -> tuple[int, tuple[int, ...]]:
        """The same with the tables of one block at a time."""
        total, starts = 0, {0: self._start(nodes[0])}
        for block in range(_BLOCK, len(nodes), _BLOCK):
            tables, shifts = self._block(starts[block - _BLOCK], nodes, block - _BLOCK, block)
            starts[block] = tables[-1], shifts[-1]
            total += sum(shifts[:-1])
        path: list[State] = []
        for block in sorted(starts, reverse=True):
            tables, shifts = self._block(starts[block], nodes, block,
                                         min(block + _BLOCK, len(nodes) - 1))
            if not path:
                total += sum(shifts)
                if shifts[-1] >= INFINITE:
                    return INFINITE, ()
                path.append(_unravel(int(tables[-1].argmin()), tables[-1]))
            path += self._backward(tables, shifts, nodes, block, path[-1])
        return total, tuple(self._row(s) for s in reversed(path))

    def _block(self, start: tuple[Table, int], nodes: Sequence[Table], first: int,
               last: int) -> tuple[list[Table], list[int]]:
        """Tables and shifts of nodes first..last inclusive."""
        tables, shifts = [start[0]], [start[1]]
        for t in range(first + 1, last + 1):
            table, shift = self._next(tables[-1], nodes, t)
            tables.append(table)
            shifts.append(shift)
        return tables, shifts

    def _clocked(self, t: int) -> bool:
        """Tell whether the gap after node ``t`` is a short one."""
        return t + 1 < len(self._gaps) and self._gaps[t + 1].work < self._movers.notch


def _normal(values: Table) -> tuple[Table, int]:
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


def _step(values: Table, gap: Gap, movers: Movers, clocked: bool, board: Board) -> Table:
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


def _unravel(index: int, table: Table) -> State:
    a, b, i, j = (int(x) for x in np.unravel_index(index, table.shape))
    return a, b, i, j


def _before(earlier: Table, gap: Gap, movers: Movers, state: State,
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
    return _unravel(int((earlier + into).argmin()), earlier)


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
