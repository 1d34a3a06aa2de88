"""Two workers and their last grips: equal to every path tried, also where few steps change."""

from __future__ import annotations

from itertools import product

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.search.two_hands import FREE, INFINITE, Ids, PairSearch, Step, Table, Times

HORIZON = 1.0
KINDS = 6  # grips that a worker can have in these tests


class Random:
    """Prices drawn by seed for every pair of grips and kind of gap."""

    def __init__(self, seed: int) -> None:
        draw = np.random.default_rng(seed)
        self.tables = draw.integers(0, 9, (2, 2, 3, KINDS, KINDS))
        self.tables *= draw.random(self.tables.shape) < 0.6

    def price(self, worker: int, kind: int, old: int, age: float, new: int) -> int:
        if old == FREE or age > HORIZON:
            return 0
        return int(self.tables[worker, kind, min(int(age / 0.35), 2), old, new])

    def _table(self, worker: int, kind: int, old: Ids, age: Times, new: Ids) -> Table:
        return np.array([[self.price(worker, kind, int(o), float(a), int(n)) for n in new]
                         for o, a in zip(old, age, strict=True)],
                        dtype=np.int32).reshape(len(old), len(new))

    def own(self, worker: int, old: Ids, age: Times, new: Ids) -> Table:
        return self._table(worker, 0, old, age, new)

    def across(self, worker: int, old: Ids, age: Times, new: Ids) -> Table:
        return self._table(worker, 1, old, age, new)


@st.composite
def steps_(draw: st.DrawFn) -> list[Step]:
    time, found = 0.0, []
    for _ in range(draw(st.integers(1, 4))):
        time += draw(st.sampled_from([0.1, 0.2, 0.4, 1.2]))
        grips = tuple(np.array(sorted(draw(st.sets(st.integers(0, KINDS - 1), max_size=2))),
                               dtype=np.int64) for _ in range(2))
        shape = (len(grips[0]) + 1, len(grips[1]) + 1)
        cells = draw(st.lists(st.sampled_from([0, 1, 3, 8, INFINITE]), min_size=shape[0] * shape[1],
                              max_size=shape[0] * shape[1]))
        found.append(Step(time, (grips[0], grips[1]),
                          np.array(cells, dtype=np.int32).reshape(shape)))
    return found


def price_of(path: tuple[tuple[int, int], ...], steps: list[Step], costs: Random) -> int:
    last = [(FREE, 0.0), (FREE, 0.0)]
    total = 0
    for pair, step in zip(path, steps, strict=True):
        total += int(step.prices[tuple(len(step.grips[w]) if pair[w] < 0 else pair[w]
                                       for w in (0, 1))])
        new = [(int(step.grips[w][pair[w]]), step.time) if pair[w] >= 0 else None for w in (0, 1)]
        for worker in (0, 1):
            if new[worker] is not None:
                grip = new[worker][0]
                total += costs.price(worker, 0, last[worker][0], step.time - last[worker][1], grip)
                other = last[1 - worker]
                total += costs.price(1 - worker, 1, other[0], step.time - other[1], grip)
        last = [n or o for n, o in zip(new, last, strict=True)]
    return total


def cheapest(steps: list[Step], costs: Random) -> int:
    every = [list(product(range(-1, len(s.grips[0])), range(-1, len(s.grips[1])))) for s in steps]
    return min(price_of(path, steps, costs) for path in product(*every))


@given(steps_(), st.integers(0, 200))
@settings(max_examples=300, deadline=None)
def test_equal_to_every_path(steps, seed):
    costs = Random(seed)
    total, path = PairSearch(costs, HORIZON).cheapest(steps)
    best = cheapest(steps, costs)
    if best >= INFINITE:
        assert (total, path) == (INFINITE, ())
    else:
        assert total == best == price_of(path, steps, costs)


@given(st.data(), steps_(), st.integers(0, 200))
@settings(max_examples=200, deadline=None)
def test_found_anew_where_prices_changed(data, steps, seed):
    costs = Random(seed)
    search = PairSearch(costs, HORIZON)
    search.cheapest(steps)
    for _ in range(3):
        at = data.draw(st.integers(0, len(steps) - 1))
        more = data.draw(st.integers(0, 5))
        old = steps[at]
        prices = np.minimum(old.prices + more * (np.arange(old.prices.size) % 2).reshape(
            old.prices.shape).astype(np.int32), INFINITE)
        steps[at] = Step(old.time, old.grips, prices)
        assert search.cheapest(steps) == PairSearch(costs, HORIZON).cheapest(steps)
