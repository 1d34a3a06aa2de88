"""Cheapest path of seven three-position switches worked by two movers.

Switches 0-2 belong to the first mover, 3-6 to the second: 27 x 81 = 2187 settings, fewer where
switches are confined to some of their positions. Every node of the path charges a price for each
setting; between nodes the movers move switches. A mover works on one switch at a time, so the time
between two of its moves is bounded below; the time a mover has been idle is part of the state where
it matters. Prices are int32; ties fall to the lowest state index, so a run is deterministic.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from math import prod

import numpy as np

from arranger.search.board import INFINITE, Board, Gap, Movers, State, Table
from arranger.search.moves import before, start, step, unravel

#: Bytes of tables that are kept from one search to the next; a longer piece is searched in blocks.
_KEPT = 40 << 20
_BLOCK = 1024


def cheapest(nodes: Sequence[Table], gaps: Sequence[Gap],
             movers: Movers) -> tuple[int, tuple[int, ...]]:
    """Cheapest path through ``nodes`` over all settings (see ``PositionSearch.cheapest``)."""
    return PositionSearch(gaps, movers).cheapest(nodes)


class PositionSearch:
    """Cheapest paths over the same gaps; only what changed since the last one is found anew.

    ``whole``: never search in blocks, whatever room that takes.
    """

    def __init__(self, gaps: Sequence[Gap], movers: Movers, board: Board | None = None,
                 whole: bool = False) -> None:
        self._whole = whole
        self.board = board = board or Board()
        self._gaps = gaps
        self._movers = movers
        self._planes = _planes(gaps, board)
        self._known_gaps: Sequence[Gap] = ()
        self._nodes: list[Table] = []
        self._tables: list[Table] = []
        self._shifts: list[int] = []
        self._kept: list[bool] = []  # a node that is as it was at the last path, after such a table
        self._untraced = False  # a total was found since, and no path
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
        if not self._fits(len(nodes)):
            return self._in_blocks(nodes)
        total = self._forward(nodes)
        if total >= INFINITE:
            self._states = []
            return INFINITE, ()
        last = self._tables[-1]
        self._states = self._retraced(nodes, unravel(int(last.argmin()), last))
        self._untraced = False
        width = self.board.size[1]
        return total, tuple(s[2] * width + s[3] for s in self._states)

    def least(self, nodes: Sequence[Table]) -> int:
        """The least total alone, as ``cheapest`` finds it."""
        if not nodes:
            return 0
        if self._fits(len(nodes)):
            total = self._forward(nodes)
            self._untraced = True
            return total
        table, shift = self._start(nodes[0])
        total = shift
        for t in range(1, len(nodes)):
            table, shift = self._next(table, nodes, t)
            total += shift
        return INFINITE if shift >= INFINITE else total

    def over(self, gaps: Sequence[Gap]) -> PositionSearch:
        """The same search over these gaps, which starts from what this one knows.

        A gap is known again by being the same object.
        """
        other = copy(self)
        other._gaps, other._planes = gaps, _planes(gaps, self.board)
        return other

    @property
    def remembers(self) -> bool:
        """Tell whether tables are kept from one search to the next."""
        return self._fits(len(self._gaps))

    def trail(self) -> tuple[tuple[State, int], ...]:
        """State at every node of the last path, and what it cost to come there from the last.

        Paths that meet in a state may be crossed there. For a search that is ``whole``.
        """
        found, before_it = [], 0
        for table, shift, state in zip(self._tables, self._shifts, self._states, strict=True):
            found.append((state, shift + int(table[state]) - before_it))
            before_it = int(table[state])
        return tuple(found)

    def _fits(self, count: int) -> bool:
        return self._whole or count * self._planes * prod(self.board.size) * 4 <= _KEPT

    def _row(self, state: State) -> int:
        return state[2] * self.board.size[1] + state[3]

    def _start(self, node: Table) -> tuple[Table, int]:
        return start(node.reshape(1, 1, *self.board.size))

    def _next(self, table: Table, nodes: Sequence[Table], t: int) -> tuple[Table, int]:
        return step(table, nodes[t], self._gaps[t], self._movers, self._clocked(t), self.board)

    def _forward(self, nodes: Sequence[Table]) -> int:
        """Find the tables of all nodes; return the least total, INFINITE where there is none."""
        known = len(nodes) == len(self._nodes) == len(self._known_gaps)
        new = self._new(nodes) if known else range(len(nodes))
        tables = list(self._tables) if known else [self._start(nodes[0])[0]] * len(nodes)
        shifts = list(self._shifts) if known else [0] * len(nodes)
        kept = list(self._kept) if known and self._untraced else [known] * len(nodes)
        done = -1
        for first in new:
            for t in range(first, len(nodes) if first > done else 0):
                table, shifts[t] = (self._next(tables[t - 1], nodes, t) if t
                                    else self._start(nodes[t]))
                kept[t], done = False, t
                if known and np.array_equal(table, self._tables[t]):
                    break  # what follows is as it was, up to the next node that is new
                tables[t] = table
        self._nodes, self._tables, self._shifts, self._kept = list(nodes), tables, shifts, kept
        self._known_gaps = self._gaps
        return (INFINITE if shifts[-1] >= INFINITE
                else sum(shifts) + int(tables[-1].min()))

    def _new(self, nodes: Sequence[Table]) -> list[int]:
        """Nodes that are not as they were, or a gap beside them is not."""
        new = {t for t, (node, old) in enumerate(zip(nodes, self._nodes, strict=True))
               if node is not old}
        if self._gaps is not self._known_gaps:
            changed = [t for t, (gap, old) in enumerate(zip(self._gaps, self._known_gaps,
                                                            strict=True)) if gap is not old]
            new.update(changed, (t - 1 for t in changed if t))
        return sorted(new)

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
            state = before(tables[at - 1], self._gaps[t], self._movers, state, value,
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
                path.append(unravel(int(tables[-1].argmin()), tables[-1]))
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


def _planes(gaps: Sequence[Gap], board: Board) -> int:
    """Tables a node has, at most: one for every idle time of both movers."""
    clocks = 1 + max((g.look_back for g in gaps), default=0)
    return prod(clocks for size in board.size if size > 1)
