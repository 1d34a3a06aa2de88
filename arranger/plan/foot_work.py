"""The cheapest foot work for a plan that is given: which string every note takes.

With the strings given, no price depends on both feet any more, so each foot is searched alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np

from arranger.model.harp import PEDALS
from arranger.plan.ornaments import Wish
from arranger.search.board import INFINITE, SWITCHES, Board, Gap, Movers, Table
from arranger.search.positions import PositionSearch

#: Price, for either foot, of a pinned setting that is not met: dearer than any music, and still
#: finite, so that a barline no foot can meet leaves a plan and a finding instead of none.
PIN = 1 << 20


#: Pedals (by index) and the positions 0-2 they must be in.
Wanted = frozenset[tuple[int, int]]


@dataclass(frozen=True, slots=True)
class FootWork:
    """Pedals where every note goes a given way: the setting of every slice, and what is paid.

    ``stands``: how both feet stand after a slice, None between slices that share a setting;
    ``costs``: what the feet do for it. Foot work that passes the same stand may be
    crossed there.
    """

    states: tuple[tuple[int, ...], ...]
    stands: tuple[object, ...]
    costs: tuple[int, ...]


class GivenSearch:
    """Cheapest foot work where every note goes a given way; then the feet part, a search each."""

    def __init__(self, spans: Sequence[tuple[int, int]], gaps: Sequence[Gap], movers: Movers,
                 ranges: Sequence[tuple[int, int]], pins: Mapping[int, tuple[int, ...]],
                 wishes: Sequence[tuple[Wish, ...]]) -> None:
        """``wishes``: those of each span."""
        self._spans = spans
        self._wishes = wishes
        self._gaps = gaps
        self._ranges = ranges
        self._feet = tuple(_OneFoot(gaps, movers, ranges, own) for own in SWITCHES)
        self._pins = [tuple(pins[at] for at in range(first, last) if at in pins)
                      for first, last in spans]

    def knowing(self, other: GivenSearch | None) -> GivenSearch:
        """Return this search, starting from what another one of nearly the same piece knows."""
        new = copy(self)
        if other is not None and other._ranges == self._ranges:
            new._feet = tuple(foot.over(self._gaps) for foot in other._feet)
        return new

    def cheapest(self, asked: Sequence[Wanted]) -> FootWork | None:
        """Foot work for what every slice asks of the pedals; None: there is none."""
        wanted = [asked[first] if last == first + 1 else frozenset().union(*asked[first:last])
                  for first, last in self._spans]
        walks = []
        for foot in self._feet:
            walk = foot.cheapest(wanted, self._pins, self._wishes)
            if walk is None:
                return None
            walks.append(walk)
        states: list[tuple[int, ...]] = []
        stands: list[object] = []
        costs: list[int] = []
        for (first, last), (one, left, a), (two, right, b) in zip(self._spans, *walks,
                                                                  strict=True):
            between = last - first - 1
            states += [(*left, *right)] * (last - first)
            stands += [None] * between + [(one, two)]
            costs += [a + b] + [0] * between
        return FootWork(tuple(states), tuple(stands), tuple(costs))


def wished(wishes: Iterable[Wish]) -> Iterator[tuple[int, int, int]]:
    """Pedal, position 0-2 and price of each wish."""
    return ((PEDALS.index(w.pitch.step), w.pitch.alter + 1, w.price) for w in wishes)


#: A state of one foot's search, the positions of its pedals, and what it cost to come there.
_Walk = tuple[tuple[object, tuple[int, ...], int], ...]


class _OneFoot:
    """The pedals of one foot, all others at rest."""

    def __init__(self, gaps: Sequence[Gap], movers: Movers, ranges: Sequence[tuple[int, int]],
                 own: slice) -> None:
        mine = range(len(PEDALS))[own]
        board = Board(tuple(r if pedal in mine else (0, 0) for pedal, r in enumerate(ranges)))
        self._own = own
        self._mine = frozenset(mine)
        self._shape = board.states[:, own]
        self._settings = tuple(tuple(map(int, row)) for row in self._shape)
        self._search = PositionSearch(gaps, movers, board, whole=True)
        self._tables: dict[tuple[object, ...], Table] = {}
        self._asked: dict[tuple[object, ...], Table] = {}

    def over(self, gaps: Sequence[Gap]) -> _OneFoot:
        """The same foot over other gaps."""
        other = copy(self)
        other._search = self._search.over(gaps)
        return other

    def cheapest(self, wanted: Sequence[Wanted], pins: Sequence[tuple[tuple[int, ...], ...]],
                 wishes: Sequence[tuple[Wish, ...]]) -> _Walk | None:
        """Cheapest path where these positions of pedals are needed."""
        total, path = self._search.cheapest([self._table(*asked) for asked in zip(
            wanted, pins, wishes, strict=True)])
        if total >= INFINITE:
            return None
        return tuple((state, self._settings[row], cost) for row, (state, cost) in zip(
            path, self._search.trail(), strict=True))

    def _table(self, wanted: Wanted, pins: tuple[tuple[int, ...], ...],
               wishes: tuple[Wish, ...]) -> Table:
        """Prices of all settings; what asks the same of this foot is the same table."""
        found = self._asked.get((wanted, pins, wishes))
        if found is None:
            mine = frozenset(w for w in wanted if w[0] in self._mine)
            dear = tuple(w for w in wished(wishes) if w[0] in self._mine)
            found = self._asked[wanted, pins, wishes] = self._priced(mine, pins, dear)
        return found

    def _priced(self, mine: Wanted, pins: tuple[tuple[int, ...], ...],
                dear: tuple[tuple[int, int, int], ...]) -> Table:
        key = (mine, pins, dear)
        if key not in self._tables:
            table = np.zeros(len(self._shape), dtype=np.int32)
            for pedal, position in mine:
                table[self._shape[:, pedal - self._own.start] != position] = INFINITE
            for pin in pins:
                missed = (np.array(pin[self._own]) != self._shape).any(axis=1)
                table[missed & (table < INFINITE)] += PIN
            for pedal, position, price in dear:
                missed = self._shape[:, pedal - self._own.start] != position
                table[missed & (table < INFINITE)] += price
            self._tables[key] = table
        return self._tables[key]
