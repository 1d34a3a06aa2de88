"""Seven switches of three positions, two movers: settings, and what a gap lets them do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product

import numpy as np
import numpy.typing as npt

Table = npt.NDArray[np.int32]
State = tuple[int, int, int, int]  #: idle time of both movers, setting of both

SETTINGS = 2187
INFINITE = 1 << 28
#: The same for compiled loops, and what no sum of two of it exceeds; sums in a loop are cast back
#: to 32 bits, so that eight go at once.
END, FAR = np.int32(INFINITE), np.int32(2 * INFINITE)
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
    def positions(self) -> tuple[Table, Table]:
        """Lowest position of every switch, and how many it has."""
        low, high = np.array(self.ranges, dtype=np.int32).T
        return np.ascontiguousarray(low), high - low + 1

    @cached_property
    def states(self) -> Table:
        """Positions of all switches, a row a setting."""
        first, second = self.shapes
        return np.array([[*a, *b] for a in first for b in second], dtype=np.int32)

    @cached_property
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
