"""The options of one slice as the search of two hands wants them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from weakref import WeakValueDictionary

import numpy as np
import numpy.typing as npt

from arranger.plan.grip_costs import GripCosts
from arranger.plan.universe import LOST, NOTHING, Choice, Extra
from arranger.search.board import INFINITE
from arranger.search.two_hands import Step

#: Price, for hands that should follow given ways, of leaving a note out or of another way.
_LOSING, _PARTING = 1 << 12, 1 << 14


@dataclass(frozen=True, slots=True, weakref_slot=True)
class _Offered(Step):
    """A step, and which option each pair of grips stands for."""

    index: npt.NDArray[np.int32]


class Menu:
    """The options of a slice, and of all slices like it.

    ``placed``: indices of the notes that hands place, ``drops``: what losing each note costs;
    ``rows``: the patterns that were weighed.
    """

    def __init__(self, placed: Sequence[int], drops: Sequence[int], options: Sequence[Choice],
                 costs: GripCosts, rows: Sequence[tuple[int, ...]]) -> None:
        self.rows = frozenset(rows)
        self._drops = drops
        self._placed = placed
        self.options = options
        lefts: dict[int, int] = {}
        rights: dict[int, int] = {}
        self.ways: dict[tuple[int, ...], int] = {}
        cells = np.empty((len(options), 4), dtype=np.int64)
        for rank, choice in enumerate(options):
            left = -1 if choice.left is None else lefts.setdefault(
                costs.number(choice.left), len(lefts))
            right = -1 if choice.right is None else rights.setdefault(
                costs.number(choice.right), len(rights))
            way = self.ways.setdefault(choice.ways, len(self.ways))
            cells[rank] = left, right, way, choice.price
        self._cells = cells
        self._grips = (np.array(list(lefts), dtype=np.int64),
                       np.array(list(rights), dtype=np.int64))
        self._strays: dict[tuple[int, ...], tuple[int, ...]] = {}

    def step(self, time: float, key: tuple[int, ...]) -> _Offered:
        """The options at a moment, ``key`` added to their prices; INFINITE closes some."""
        extra = np.array(key, dtype=np.int64)[self._cells[:, 2]]
        rows = np.nonzero(extra < INFINITE)[0]
        price = self._cells[rows, 3] + extra[rows]
        order = np.lexsort((-rows, -price))
        cells = self._cells[rows[order]]
        left, right = cells[:, 0], cells[:, 1]
        grips = self._grips
        if len(rows) < len(self._cells):
            (ours, left), (theirs, right) = (_renumbered(grips[0], left),
                                             _renumbered(grips[1], right))
            grips = ours, theirs
        shape = (len(grips[0]) + 1, len(grips[1]) + 1)
        table = np.full(shape, INFINITE, dtype=np.int32)
        table[left, right] = price[order]
        index = np.zeros(shape, dtype=np.int32)
        index[left, right] = rows[order]
        return _Offered(time, grips, table, index)

    def offered(self, more: Extra, less: Extra) -> tuple[int, ...]:
        """What each pattern costs besides."""
        if not more and not less:
            return (0,) * len(self.ways)
        return tuple(sum(more.get((i, w), 0) - less.get((i, w), 0)
                         for i, w in zip(self._placed, ways, strict=True)) for ways in self.ways)

    def straying(self, row: Sequence[int]) -> tuple[int, ...]:
        """What each pattern costs where these ways should be followed.

        INFINITE: it takes another way, and the hands can do better by losing notes at most.
        """
        key = tuple(row[i] for i in self._placed)
        if key not in self._strays:
            strays = [sum(_LOSING + self._drops[i] if w == LOST else _PARTING
                          for i, w, wanted in zip(self._placed, ways, key, strict=True)
                          if wanted != w) for ways in self.ways]
            if 0 in strays:
                strays = [INFINITE if any(w not in (LOST, wanted) for w, wanted in zip(
                    ways, key, strict=True)) else s for s, ways in zip(strays, self.ways,
                                                                       strict=True)]
            self._strays[key] = tuple(strays)
        return self._strays[key]


class Slot:
    """What both hands may do at one moment; a step is kept while it is in use."""

    def __init__(self, time: float, menu: Menu) -> None:
        self._time = time
        self.menu = menu
        self._steps: WeakValueDictionary[tuple[int, ...], _Offered] = WeakValueDictionary()
        self._asked = NOTHING, NOTHING
        self._answer = menu.offered(NOTHING, NOTHING)

    def offered(self, more: Extra, less: Extra) -> tuple[int, ...]:
        """What each pattern costs besides."""
        if self._asked[0] is not more or self._asked[1] is not less:
            self._asked, self._answer = (more, less), self.menu.offered(more, less)
        return self._answer

    def step(self, key: tuple[int, ...]) -> Step:
        """The options with ``key`` added to their prices, by pattern; INFINITE closes some."""
        step = self._steps.get(key)
        if step is None:
            step = self._steps[key] = self.menu.step(self._time, key)
        return step

    def paid(self, key: tuple[int, ...], choice: Choice) -> int:
        """The part of ``key`` that this choice has paid."""
        return key[self.menu.ways[choice.ways]]

    def choice(self, key: tuple[int, ...], pair: tuple[int, int]) -> Choice:
        """The option a step of this key means by a pair of grips."""
        return self.menu.options[int(self._steps[key].index[pair])]


def _renumbered(grips: npt.NDArray[np.int64], used: npt.NDArray[np.int64],
                ) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """The grips that are used (-1: none), and their numbers among these."""
    kept, number = np.unique(used, return_inverse=True)
    rest = int(len(kept) > 0 and kept[0] < 0)
    return grips[kept[rest:]], number - rest
