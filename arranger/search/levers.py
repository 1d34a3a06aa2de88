"""Cheapest service of demands by two-position switches that one mover flips, one at a time.

The model. Time is in whole ticks. Every switch stands at 0 or 1, chosen freely before the start. A
demand is served at its time by one of its ways (a switch at a position, for a price), or given up
for the price ``drop``. A chance is a stretch ``[start, end)`` in which the mover is free and may
flip one switch; chances may overlap, flips may not. A switch that is being flipped serves nothing:
demands on it at ``start`` or later count as during the flip, those at ``end`` as after it. At the
times of a tie every switch stands alike, and none is being flipped. A link is a price for two
demands that are served by two ways of which one does not go well with the other.

Left to itself every switch is a shortest path through its points of demand, so the whole is a set
of unit flows coupled only by the mover (overlapping chances take one flip) and by demands with ways
on several switches. It is solved exactly as an integer programme over these flows: the flips are
the only integers, and the relaxation is close because each flow alone is integral. Where the
cheapest ways of all demands agree about every switch, that is the optimum without any search.

References
----------
Ahuja, Magnanti and Orlin, Network Flows (1993), ch. 17: multicommodity flows.
Huangfu and Hall (2018), Mathematical Programming Computation 10:119-142: the solver, HiGHS.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

import numpy as np


@dataclass(frozen=True, slots=True)
class Demand:
    """Something wanted at ``time``: ways (switch, position, price) and the price of giving up."""

    time: int
    ways: tuple[tuple[int, int, int], ...]
    drop: int


@dataclass(frozen=True, slots=True)
class Chance:
    """A stretch for one flip; ``prices``: switch -> price of flipping it here."""

    start: int
    end: int
    prices: Mapping[int, int]


@dataclass(frozen=True, slots=True)
class Link:
    """What is paid if demand ``one`` is served by its way ``way``, and ``other`` by its own."""

    one: int
    way: int
    other: int
    other_way: int
    price: int


@dataclass(frozen=True, slots=True)
class Flip:
    """Switch ``switch`` goes to ``position`` in chance ``chance`` (its index)."""

    chance: int
    switch: int
    position: int


@dataclass(frozen=True, slots=True)
class Solution:
    """Way taken of each demand (its index, None: given up), opening by switch, flips, price."""

    taken: tuple[int | None, ...]
    opening: Mapping[int, int]
    flips: tuple[Flip, ...]
    total: int


def cheapest_flips(demands: Sequence[Demand], chances: Sequence[Chance],
                   ties: Sequence[Sequence[int]] = (), links: Sequence[Link] = ()) -> Solution:
    """Solve exactly.

    Parameters
    ----------
    demands : in any order; equal prices fall to the earlier way.
    chances : in order of their start; prices above 0.
    ties : groups of times at which every switch stands alike.
    links : prices above 0.
    """
    asked: dict[int, set[int]] = {}
    best: dict[int, set[int]] = {}
    for demand in demands:
        for switch, position, _ in demand.ways:
            asked.setdefault(switch, set()).add(position)
        chosen = _cheapest(demand, None)
        if chosen is not None:
            switch, position, _ = demand.ways[chosen]
            best.setdefault(switch, set()).add(position)
    taken = tuple(_cheapest(d, None) for d in demands)
    if _agree(best) and not _linked(taken, links):
        return Solution(taken, _settled(best), (), _price(demands, taken))
    return _solved(demands, chances, ties, links, _settled(asked),
                   sorted(s for s, p in asked.items() if len(p) > 1))


def _settled(wanted: Mapping[int, set[int]]) -> dict[int, int]:
    return {s: min(p) for s, p in wanted.items() if len(p) == 1}


def _agree(wanted: Mapping[int, set[int]]) -> bool:
    return all(len(positions) == 1 for positions in wanted.values())


def _cheapest(demand: Demand, standing: Mapping[int, int] | None) -> int | None:
    """Index of the cheapest way open (all are, if ``standing`` is None) and worth it."""
    found = [i for i, (s, p, _) in enumerate(demand.ways)
             if standing is None or standing.get(s) == p]
    least = min(found, key=lambda i: (demand.ways[i][2], i), default=None)
    return least if least is not None and demand.ways[least][2] < demand.drop else None


def _linked(taken: Sequence[int | None] | Mapping[int, int | None],
            links: Iterable[Link]) -> int:
    """Price of the links of which both ways are taken."""
    return sum(k.price for k in links
               if taken[k.one] == k.way and taken[k.other] == k.other_way)


def _price(demands: Sequence[Demand], taken: Iterable[int | None]) -> int:
    return sum(d.drop if way is None else d.ways[way][2]
               for d, way in zip(demands, taken, strict=True))


@dataclass(slots=True)
class _Programme:
    """Columns and rows of an integer programme, sparse."""

    cost: list[float] = field(default_factory=list)
    whole: list[int] = field(default_factory=list)
    entries: list[tuple[int, int, float]] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def column(self, cost: float, whole: bool = False) -> int:
        self.cost.append(cost)
        self.whole.append(int(whole))
        return len(self.cost) - 1

    def row(self, entries: Iterable[tuple[int, float]], low: float, high: float) -> None:
        self.entries += [(len(self.low), column, value) for column, value in entries]
        self.low.append(low)
        self.high.append(high)

    def solve(self) -> list[float]:
        """Values of the columns at the optimum."""
        from scipy.optimize import Bounds, LinearConstraint, milp  # 0.3 s to import
        from scipy.sparse import coo_array
        rows, columns, values = zip(*self.entries, strict=True)
        matrix = coo_array((values, (rows, columns)), shape=(len(self.low), len(self.cost)))
        done = milp(np.array(self.cost), integrality=np.array(self.whole), bounds=Bounds(0, 1),
                    constraints=LinearConstraint(matrix.tocsr(), self.low, self.high),
                    options={"mip_rel_gap": 0.0})
        if done.x is None:
            raise RuntimeError(f"the integer programme of the levers failed: {done.message}")
        return [float(value) for value in done.x]


@dataclass(slots=True)
class _Flow:
    """One switch: its points in time, columns of standing at each, of opening and of flips."""

    points: list[int]
    opening: tuple[int, int]
    stay: list[tuple[int, int]]
    flips: list[tuple[int, int, int]] = field(default_factory=list)  # chance, to, column


def _solved(demands: Sequence[Demand], chances: Sequence[Chance], ties: Sequence[Sequence[int]],
            links: Sequence[Link], settled: Mapping[int, int], loose: Sequence[int]) -> Solution:
    programme = _Programme()
    tied = sorted({time for group in ties for time in group})
    points: dict[int, set[int]] = {switch: set(tied) for switch in loose}
    for demand in demands:
        for switch, _, _ in demand.ways:
            if switch in points:
                points[switch].add(demand.time)
    flows = {s: _flow(programme, s, sorted(points[s]), chances, tied) for s in loose}
    for group in ties:
        for flow in flows.values():
            at = [flow.stay[bisect_left(flow.points, time)][1] for time in group]
            for other in at[1:]:
                programme.row([(at[0], 1.0), (other, -1.0)], 0, 0)
    _one_at_a_time(programme, flows.values(), chances)
    bound = {d for k in links for d in (k.one, k.other)}
    columns: dict[tuple[int, int], int] = {}
    for number, demand in enumerate(demands):
        if number in bound:
            columns |= {(number, way): column for way, column in _each_way(
                programme, demand, flows, settled)}
        else:
            _served(programme, demand, flows, settled)
    for link in links:
        pair = (link.one, link.way), (link.other, link.other_way)
        if all(place in columns for place in pair):
            paid = programme.column(link.price)
            programme.row([(columns[pair[0]], 1.0), (columns[pair[1]], 1.0), (paid, -1.0)], -1, 1)
    return _read(programme.solve(), demands, chances, links, settled, flows)


def _flow(programme: _Programme, switch: int, points: list[int], chances: Sequence[Chance],
          tied: Sequence[int]) -> _Flow:
    """Lay out the path of one switch: layer k lies before point k."""
    flow = _Flow(points, (programme.column(0, True), programme.column(0, True)),
                 [(programme.column(0), programme.column(0)) for _ in points])
    come: dict[tuple[int, int], list[int]] = {(0, p): [flow.opening[p]] for p in (0, 1)}
    go: dict[tuple[int, int], list[int]] = {}
    for k, stay in enumerate(flow.stay):
        for p in (0, 1):
            go.setdefault((k, p), []).append(stay[p])
            come.setdefault((k + 1, p), []).append(stay[p])
    for index, chance in enumerate(chances):
        first, last = bisect_left(points, chance.start), bisect_left(points, chance.end)
        crossed = bisect_left(tied, chance.end) - bisect_left(tied, chance.start)
        if switch not in chance.prices or last == len(points) or crossed:
            continue
        for p in (0, 1):
            column = programme.column(chance.prices[switch], True)
            flow.flips.append((index, 1 - p, column))
            go.setdefault((first, p), []).append(column)
            come.setdefault((last, 1 - p), []).append(column)
    programme.row([(c, 1.0) for c in flow.opening], 1, 1)
    for k in range(len(points)):
        for p in (0, 1):
            programme.row([*((c, 1.0) for c in come.get((k, p), ())),
                           *((c, -1.0) for c in go[k, p])], 0, 0)
    return flow


def _one_at_a_time(programme: _Programme, flows: Iterable[_Flow],
                   chances: Sequence[Chance]) -> None:
    columns: dict[int, list[int]] = {}
    for flow in flows:
        for index, _, column in flow.flips:
            columns.setdefault(index, []).append(column)
    open_now: list[int] = []
    for index, chance in enumerate(chances):
        open_now = [i for i in open_now if chances[i].end > chance.start] + [index]
        held = [c for i in open_now for c in columns.get(i, ())]
        if len(held) > 1:
            programme.row([(c, 1.0) for c in held], 0, 1)


def _served(programme: _Programme, demand: Demand, flows: Mapping[int, _Flow],
            settled: Mapping[int, int]) -> None:
    sure = min((price for s, p, price in demand.ways if settled.get(s) == p), default=demand.drop)
    sure = min(sure, demand.drop)
    taken = []
    for switch, position, price in demand.ways:
        if switch in flows and price < sure:
            flow = flows[switch]
            column = programme.column(price - sure)
            stay = flow.stay[bisect_left(flow.points, demand.time)][position]
            programme.row([(column, 1.0), (stay, -1.0)], -1, 0)
            taken.append(column)
    if len(taken) > 1:
        programme.row([(c, 1.0) for c in taken], 0, 1)


def _each_way(programme: _Programme, demand: Demand, flows: Mapping[int, _Flow],
              settled: Mapping[int, int]) -> list[tuple[int, int]]:
    """Serve a linked demand: a column of its own for every way that is worth it."""
    found = []
    for way, (switch, position, price) in enumerate(demand.ways):
        if price >= demand.drop or (switch not in flows and settled.get(switch) != position):
            continue
        column = programme.column(price - demand.drop, True)
        if switch in flows:
            flow = flows[switch]
            stay = flow.stay[bisect_left(flow.points, demand.time)][position]
            programme.row([(column, 1.0), (stay, -1.0)], -1, 0)
        found.append((way, column))
    if len(found) > 1:
        programme.row([(column, 1.0) for _, column in found], 0, 1)
    return found


def _read(values: Sequence[float], demands: Sequence[Demand], chances: Sequence[Chance],
          links: Sequence[Link], settled: Mapping[int, int],
          flows: Mapping[int, _Flow]) -> Solution:
    """Take the flips from the solution and reckon everything else from them again."""
    flips = sorted((Flip(index, switch, position) for switch, flow in flows.items()
                    for index, position, column in flow.flips if values[column] > 0.5),
                   key=lambda f: (chances[f.chance].start, f.switch))
    opening = {**settled, **{s: int(values[f.opening[1]] > 0.5) for s, f in flows.items()}}
    mine: dict[int, list[Flip]] = {}
    for flip in flips:
        mine.setdefault(flip.switch, []).append(flip)
    stood: list[dict[int, int]] = []
    for demand in demands:
        standing: dict[int, int] = {}
        for switch, _, _ in demand.ways:
            before = [f for f in mine.get(switch, ()) if chances[f.chance].start <= demand.time]
            if before and chances[before[-1].chance].end > demand.time:
                continue  # in the middle of a flip
            standing[switch] = before[-1].position if before else opening[switch]
        stood.append(standing)
    taken = _together(demands, stood, links)
    total = _price(demands, taken) + _linked(taken, links) + sum(
        chances[f.chance].prices[f.switch] for f in flips)
    return Solution(tuple(taken), opening, tuple(flips), total)


def _together(demands: Sequence[Demand], stood: Sequence[Mapping[int, int]],
              links: Sequence[Link]) -> list[int | None]:
    """Ways taken where the switches stand so: the cheapest each, of linked demands jointly."""
    taken = [_cheapest(d, s) for d, s in zip(demands, stood, strict=True)]
    near: dict[int, list[Link]] = {}
    for link in links:
        near.setdefault(link.one, []).append(link)
        near.setdefault(link.other, []).append(link)
    done: set[int] = set()
    for first in sorted(near):
        if first in done:
            continue
        group = [first]
        for at in group:
            group += {d for k in near[at] for d in (k.one, k.other)}.difference(group)
        done |= set(group)
        mine = list({k for at in group for k in near[at]})
        if not _linked(taken, mine):
            continue
        least = min(product(*(_ways(at, demands[at], stood[at], near[at]) for at in group)),
                   key=lambda ways: _of_group(dict(zip(group, ways, strict=True)), demands, mine))
        for at, way in zip(group, least, strict=True):
            taken[at] = way
    return taken


def _ways(at: int, demand: Demand, standing: Mapping[int, int],
          links: Sequence[Link]) -> list[int | None]:
    """Ways a linked demand may take: those named by its links, the cheapest other, or none."""
    named = {k.way for k in links if k.one == at} | {k.other_way for k in links if k.other == at}
    ways = [i for i, (s, p, price) in enumerate(demand.ways)
            if standing.get(s) == p and price < demand.drop]
    others = sorted((i for i in ways if i not in named), key=lambda i: (demand.ways[i][2], i))
    return [*sorted({*named.intersection(ways), *others[:1]},
                    key=lambda i: (demand.ways[i][2], i)), None]


def _of_group(served: Mapping[int, int | None], demands: Sequence[Demand],
              links: Iterable[Link]) -> int:
    """Price of linked demands that are served so."""
    return _price([demands[at] for at in served], served.values()) + _linked(served, links)
