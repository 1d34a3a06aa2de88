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
from arranger.search.move_loops import idle_times
from arranger.search.moves import before, start, step, unravel

#: Bytes of tables that are kept from one search to the next; of a longer piece that is not every
#: node's, and those between are found again where they are wanted.
_KEPT = 40 << 20


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
        self._keeps = self._worth_keeping()
        self._known_gaps: Sequence[Gap] = ()
        self._nodes: list[Table] = []
        self._tables: list[Table | None] = []  # None: found again where it is wanted
        self._between: dict[int, Table] = {}  # found again last
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
        total = self._forward(nodes)
        if total >= INFINITE:
            self._states = []
            return INFINITE, ()
        last = self._table(len(nodes) - 1)
        self._states = self._retraced(unravel(int(last.argmin()), last))
        self._untraced = False
        width = self.board.size[1]
        return total, tuple(s[2] * width + s[3] for s in self._states)

    def least(self, nodes: Sequence[Table]) -> int:
        """The least total alone, as ``cheapest`` finds it."""
        if not nodes:
            return 0
        total = self._forward(nodes)
        self._untraced = True
        return total

    def over(self, gaps: Sequence[Gap]) -> PositionSearch:
        """The same search over these gaps, which starts from what this one knows.

        A gap is known again by being the same object.
        """
        other = copy(self)
        if gaps is not self._gaps:
            other._gaps = gaps
            other._keeps = other._worth_keeping()
        return other

    def trail(self) -> tuple[tuple[State, int], ...]:
        """State at every node of the last path, and what it cost to come there from the last.

        Paths that meet in a state may be crossed there. For a search that is ``whole``.
        """
        found, before_it = [], 0
        for t, (shift, state) in enumerate(zip(self._shifts, self._states, strict=True)):
            table = self._table(t)
            found.append((state, shift + int(table[state]) - before_it))
            before_it = int(table[state])
        return tuple(found)

    def _worth_keeping(self) -> list[bool]:
        """Tell of every node whether its table is kept: of so many in a row the smallest.

        As many are kept as there is room for, the first and the last of all besides.
        """
        count, spacing = len(self._gaps), 1
        if self._whole:
            return [True] * count
        sizes = _sizes(self._gaps, self._movers, self.board)
        while True:
            kept = {min(range(at, min(at + spacing, count)), key=sizes.__getitem__)
                    for at in range(0, count, spacing)} | {0, count - 1}
            if spacing >= count or sum(sizes[t] for t in kept) <= _KEPT:
                return [t in kept for t in range(count)]
            spacing *= 2

    def _table(self, t: int) -> Table:
        """Table of a node; one that is not kept is found again from the last that is."""
        table = self._tables[t]
        if table is not None:
            return table
        if t not in self._between:
            first = self._last_kept(t)
            table = self._tables[first]
            assert table is not None
            self._between = {}
            for at in range(first + 1, t + 1):
                table, _ = self._next(table, self._nodes, at)
                self._between[at] = table
        return self._between[t]

    def _last_kept(self, t: int) -> int:
        """Last node up to this one whose table is kept; -1: none."""
        while t >= 0 and self._tables[t] is None:
            t -= 1
        return t

    def _row(self, state: State) -> int:
        return state[2] * self.board.size[1] + state[3]

    def _start(self, node: Table) -> tuple[Table, int]:
        return start(node.reshape(1, 1, *self.board.size))

    def _next(self, table: Table, nodes: Sequence[Table], t: int) -> tuple[Table, int]:
        return step(table, nodes[t], self._gaps[t], self._movers, self._clocked(t), self.board)

    def _forward(self, nodes: Sequence[Table]) -> int:
        """Find the tables of all nodes; return the least total, INFINITE where there is none."""
        count = len(nodes)
        known = count == len(self._nodes) == len(self._known_gaps)
        new = self._new(nodes) if known else range(count)
        old, self._tables = self._tables, list(self._tables) if known else [None] * count
        shifts = list(self._shifts) if known else [0] * count
        kept = list(self._kept) if known and self._untraced else [known] * count
        self._between = {}
        done = -1
        for first in new:
            if first <= done:
                continue
            start = self._last_kept(first - 1)
            table = self._tables[start] if start >= 0 else None
            for t in range(start + 1, count):
                table, shift = (self._start(nodes[0]) if table is None
                                else self._next(table, nodes, t))
                if t < first:
                    continue
                shifts[t], kept[t], done = shift, False, t
                was = old[t] if known else None
                if was is not None and np.array_equal(table, was):
                    break  # what follows is as it was, up to the next node that is new
                self._tables[t] = table if self._keeps[t] else None
        self._nodes, self._shifts, self._kept = list(nodes), shifts, kept
        self._known_gaps = self._gaps
        if shifts[-1] >= INFINITE:
            return INFINITE
        return sum(shifts) + int(self._table(count - 1).min())

    def _new(self, nodes: Sequence[Table]) -> list[int]:
        """Nodes that are not as they were, or a gap beside them is not."""
        new = {t for t, (node, old) in enumerate(zip(nodes, self._nodes, strict=True))
               if node is not old}
        if self._gaps is not self._known_gaps:
            changed = [t for t, (gap, old) in enumerate(zip(self._gaps, self._known_gaps,
                                                            strict=True)) if gap is not old]
            new.update(changed, (t - 1 for t in changed if t))
        return sorted(new)

    def _retraced(self, state: State) -> list[State]:
        """States up to ``state`` at the last node; where nothing changed, those of last time."""
        path, old = [state], self._states
        for t in range(len(self._nodes) - 1, 0, -1):
            state = (old[t - 1] if old and self._kept[t] and old[t] == state
                     else self._before(t, state))
            path.append(state)
        return path[::-1]

    def _before(self, t: int, state: State) -> State:
        """State of the node before, on the way to ``state`` at node ``t``."""
        value = (int(self._table(t)[state]) + self._shifts[t]
                 - int(self._nodes[t][self._row(state)]))
        return before(self._table(t - 1), self._gaps[t], self._movers, state, value,
                      self._clocked(t), self.board)

    def _clocked(self, t: int) -> bool:
        """Tell whether the gap after node ``t`` is a short one."""
        return t + 1 < len(self._gaps) and self._gaps[t + 1].work < self._movers.notch


def _sizes(gaps: Sequence[Gap], movers: Movers, board: Board) -> list[int]:
    """Bytes of the table of every node: as many settings as the board has for every idle time."""
    found, clocks = [], [1, 1]
    for t, gap in enumerate(gaps):
        if t and gap.work < movers.notch:
            clocks = [idle_times(c, gap.look_back, gap.work > 0) for c in clocks]
        else:
            short = 0 < t < len(gaps) - 1 and gaps[t + 1].work < movers.notch
            clocks = [2 if short else 1] * 2
        found.append(4 * prod(board.size) * prod(
            c for c, size in zip(clocks, board.size, strict=True) if size > 1))
    return found
