"""Cheapest path of two workers who hold on to what they last did.

At every step an option gives either worker a new grip, or lets him rest with the one he had. A grip
is a number; what it costs to go from one grip to the next, with the time between them, is asked
of ``Costs``. A worker who rests carries his grip along, with its age, so that costs reach back to
each worker's last grip however many steps ago that was; grips older than ``horizon`` are forgotten.
The state is therefore the pair of last grips with their times, and the search is exact over it.
Prices are int32; ties fall to the earliest option.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from arranger.search.board import INFINITE, Table
from arranger.search.pair_loops import Ids, advanced

Times = npt.NDArray[np.float64]

Held = tuple[int, float, int, float]  #: grip and its time, of both workers

FREE = -1  #: no grip, or one long forgotten


class Costs(Protocol):
    """Price tables (old x new) between grips; ``age``: seconds since each old grip.

    After FREE nothing costs anything.
    """

    def own(self, worker: int, old: Ids, age: Times, new: Ids) -> Table:
        """Return what a worker pays for a new grip after his own old one."""

    def across(self, worker: int, old: Ids, age: Times, new: Ids) -> Table:
        """Return what the other worker pays for a new grip after ``worker``'s old one."""


@dataclass(frozen=True, slots=True)
class Step:
    """Options of one step.

    ``grips``: the distinct new grips of each worker. ``prices``: (first's grips + 1) x (second's
    grips + 1) prices, the last row and column meaning rest; INFINITE where there is no option.
    """

    time: float
    grips: tuple[Ids, Ids]
    prices: Table


@dataclass(frozen=True, slots=True)
class _Front:
    """Best prices by the last grips of both workers, with the times of these grips.

    ``values`` are less by ``shift`` than the front before would make them, so that their least is
    0. ``origin``: index of every grip among the old ones followed by the step's new ones.
    """

    ids: tuple[Ids, Ids]
    times: tuple[Times, Times]
    values: Table
    origin: tuple[Ids, Ids]
    shift: int = 0

    def like(self, other: _Front) -> bool:
        """Tell whether what follows costs the same."""
        return np.array_equal(self.values, other.values) and all(
            np.array_equal(a, b) for a, b in zip((*self.ids, *self.times),
                                                 (*other.ids, *other.times), strict=True))


@dataclass(frozen=True, slots=True)
class _Ways:
    """Price tables of one step: own moves (old x new) and moves against the other's old grip."""

    own: tuple[Table, Table]
    across: tuple[Table, Table]


class PairSearch:
    """Cheapest path of two workers, found anew quickly where few steps have changed."""

    def __init__(self, costs: Costs, horizon: float) -> None:
        self._costs = costs
        self._horizon = horizon
        self._steps: list[Step] = []
        self._fronts: list[_Front] = []
        self._kept: list[bool] = []  # a step after a front that is as it was
        self._path: list[tuple[int, int]] = []
        self._states: list[tuple[int, int]] = []  # indices in the fronts along the last path

    def knowing(self, other: PairSearch | None) -> PairSearch:
        """Return this search, starting from what another one of the same costs knows."""
        return copy(other or self)

    @property
    def size(self) -> int:
        """Pairs of grips that were weighed against each other in the last call, over all steps."""
        return sum(front.values.size for front in self._fronts)

    def cheapest(self, steps: Sequence[Step]) -> tuple[int, tuple[tuple[int, int], ...]]:
        """Cheapest path through ``steps``; those of the last call are known by identity.

        Returns
        -------
        The least total, and at every step the index of each worker's grip in ``Step.grips`` (-1:
        he rests). INFINITE and no path where there is none.
        """
        self._forward(steps)
        total = sum(f.shift for f in self._fronts)
        if total >= INFINITE:
            self._path = []
            return INFINITE, ()
        self._retrace(_place(int(self._fronts[-1].values.argmin()), self._fronts[-1].values))
        return total, tuple(self._path)

    def trail(self) -> tuple[tuple[Held, int], ...]:
        """Grips held after every step of the last path, and what the step has cost.

        Paths that meet in the same grips, taken at the same times, may be crossed there.
        """
        found, before = [], 0
        for front, (a, b) in zip(self._fronts[1:], self._states[1:], strict=True):
            held = (int(front.ids[0][a]), float(front.times[0][a]),
                    int(front.ids[1][b]), float(front.times[1][b]))
            found.append((held, front.shift + int(front.values[a, b]) - before))
            before = int(front.values[a, b])
        return tuple(found)

    def _retrace(self, state: tuple[int, int]) -> None:
        """Find the path to a last state; where nothing has changed it is that of last time."""
        count = len(self._steps)
        known = len(self._path) == count
        path, states = self._path if known else [], self._states
        self._path, self._states = [(-1, -1)] * count, [state] * (count + 1)
        for at in range(count - 1, -1, -1):
            if known and self._kept[at] and states[at + 1] == state:
                taken, state = path[at], states[at]
            else:
                taken, state = _back(self._fronts[at], self._fronts[at + 1], self._steps[at],
                                     self._costs, self._horizon, state)
            self._path[at], self._states[at] = taken, state

    def _forward(self, steps: Sequence[Step]) -> None:
        nobody, never = np.array([FREE]), np.array([0.0])
        start = _Front((nobody, nobody), (never, never), np.zeros((1, 1), np.int32),
                       (nobody, nobody))
        known = bool(steps) and len(self._steps) == len(steps)
        new = ([at for at, (step, old) in enumerate(zip(steps, self._steps, strict=True))
                if step is not old] if known else range(len(steps)))
        fronts = list(self._fronts) if known else [start] * (len(steps) + 1)
        kept = [known] * len(steps)
        done = -1
        for first in new:
            for at in range(first, len(steps) if first > done else 0):
                step = steps[at]
                folded = _forget(fronts[at], step.time, self._horizon)
                fronts[at + 1] = _advance(folded, step, _ways(folded, step, self._costs))
                kept[at], done = False, at
                if known and fronts[at + 1].like(self._fronts[at + 1]):
                    break  # what follows is as it was, up to the next step that is new
        self._steps, self._fronts, self._kept = list(steps), fronts, kept


def _place(index: int, table: Table) -> tuple[int, int]:
    a, b = (int(x) for x in np.unravel_index(index, table.shape))
    return a, b


def _forget(front: _Front, now: float, horizon: float) -> _Front:
    """Fold grips older than ``horizon`` into FREE; ``origin``: of the others, in ``front``."""
    values = front.values
    if all(ids[0] == FREE and (now - times[1:] <= horizon).all()
           for ids, times in zip(front.ids, front.times, strict=True)):
        one, other = (np.arange(1, len(ids)) for ids in front.ids)
        return _Front(front.ids, front.times, values, (one, other))
    kept: list[Ids] = []
    ids: list[Ids] = []
    times: list[Times] = []
    for worker in (0, 1):
        mine, when = front.ids[worker], front.times[worker]
        old = (mine == FREE) | (now - when > horizon)
        keep = np.nonzero(~old)[0]
        table = values if worker == 0 else values.T
        free = table[old].min(axis=0) if old.any() else np.full(table.shape[1], INFINITE, np.int32)
        table = np.concatenate([free[None], table[keep]])
        values = table if worker == 0 else table.T
        kept.append(keep)
        ids.append(np.concatenate([[FREE], mine[keep]]))
        times.append(np.concatenate([[0.0], when[keep]]))
    return _Front((ids[0], ids[1]), (times[0], times[1]), values, (kept[0], kept[1]))


def _ways(front: _Front, step: Step, costs: Costs) -> _Ways:
    own, across = [], []
    for worker in (0, 1):
        ids, age = front.ids[worker], step.time - front.times[worker]
        own.append(costs.own(worker, ids, age, step.grips[worker]))
        across.append(costs.across(worker, ids, age, step.grips[1 - worker]))
    return _Ways((own[0], own[1]), (across[0], across[1]))


def _advance(front: _Front, step: Step, ways: _Ways) -> _Front:
    """Prices after the step; grips that no path ends in are dropped, FREE stays first."""
    values, ours, theirs, least = advanced(np.ascontiguousarray(front.values), ways.own,
                                           ways.across, step.prices)
    ids, times = [], []
    for kept, old, when, new in zip((ours, theirs), front.ids, front.times, step.grips,
                                    strict=True):
        ids.append(np.concatenate([old, new])[kept])
        times.append(np.concatenate([when, np.full(len(new), step.time)])[kept])
    return _Front((ids[0], ids[1]), (times[0], times[1]), values, (ours, theirs), least)


def _back(before: _Front, after: _Front, step: Step, costs: Costs, horizon: float,
          state: tuple[int, int]) -> tuple[tuple[int, int], tuple[int, int]]:
    """Option taken at a step on the way to ``state``, and the state before it."""
    front = _forget(before, step.time, horizon)  # found again, as to keep it takes room
    news, rows = [-1, -1], [slice(None), slice(None)]
    for worker in (0, 1):
        place = int(after.origin[worker][state[worker]])
        new = place - front.values.shape[worker]
        if new >= 0:
            news[worker] = new
        else:  # he rests: only this old grip leads here
            rows[worker] = slice(place, place + 1)
    table = front.values[rows[0], rows[1]]
    olds = [(front.ids[worker][row], step.time - front.times[worker][row])
            for worker, row in enumerate(rows)]
    for worker, new in enumerate(news):
        if new >= 0:
            grip = step.grips[worker][new:new + 1]
            own = costs.own(worker, *olds[worker], grip)
            other = costs.across(1 - worker, *olds[1 - worker], grip)
            table = table + (own + other.T if worker == 0 else own.T + other)
    i, j = _place(int(table.argmin()), table)
    start = tuple(r.start or 0 for r in rows)
    return (news[0], news[1]), _unfold(before, front.origin, start[0] + i, start[1] + j)


def _unfold(before: _Front, kept: tuple[Ids, Ids], i: int, j: int) -> tuple[int, int]:
    """Indices in the unfolded front; forgotten grips stand for the cheapest of them."""
    at = []
    for worker, place in ((0, i), (1, j)):
        if place:
            at.append(kept[worker][place - 1:place])
        else:
            gone = np.ones(before.values.shape[worker], dtype=bool)
            gone[kept[worker]] = False
            at.append(np.nonzero(gone)[0])
    values = before.values[np.ix_(at[0], at[1])]
    a, b = _place(int(values.argmin()), values)
    return int(at[0][a]), int(at[1][b])
