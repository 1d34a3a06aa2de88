"""Slow, obvious twins of the lever planner: all sets of flips, and a programme of another shape."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise, product

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from arranger.search.levers import Chance, Demand, Flip, Link

Chosen = tuple[tuple[int, int], ...]  # chance, switch


def price(demands: Sequence[Demand], chances: Sequence[Chance], ties: Sequence[Sequence[int]],
          opening: Sequence[int], flips: Chosen, links: Sequence[Link] = ()) -> int | None:
    """Price of flipping these switches in these chances; None if that is not allowed."""
    spans = sorted((chances[c].start, chances[c].end) for c, _ in flips)
    if any(b > a for (_, b), (a, _) in pairwise(spans)):
        return None
    if any(a <= t < b for a, b in spans for group in ties for t in group):
        return None

    def stands(switch: int, time: int) -> int | None:
        mine = [chances[c] for c, s in flips if s == switch]
        if any(c.start <= time < c.end for c in mine):
            return None
        return (opening[switch] + sum(c.end <= time for c in mine)) % 2

    for group in ties:
        for switch in range(len(opening)):
            if len({stands(switch, t) for t in group}) > 1:
                return None
    total = sum(chances[c].prices[s] for c, s in flips)
    return total + _served(demands, links, [
        [i for i, (s, p, _) in enumerate(d.ways) if stands(s, d.time) == p] for d in demands])


def _served(demands: Sequence[Demand], links: Sequence[Link],
            open_ways: Sequence[Sequence[int]]) -> int:
    """Least price of all demands: of linked ones every mixture of the ways open is tried."""
    bound = sorted({d for k in links for d in (k.one, k.other)})
    free = sum(min([d.drop, *(d.ways[w][2] for w in mine)])
               for at, (d, mine) in enumerate(zip(demands, open_ways, strict=True))
               if at not in bound)

    def mixed(ways: Sequence[int | None]) -> int:
        taken = dict(zip(bound, ways, strict=True))
        return sum(demands[at].drop if w is None else demands[at].ways[w][2]
                   for at, w in taken.items()) + sum(
            k.price for k in links if taken[k.one] == k.way and taken[k.other] == k.other_way)

    return free + min(map(mixed, product(*([None, *open_ways[at]] for at in bound))))


def _sets(chances: Sequence[Chance]) -> Iterator[Chosen]:
    for choice in product(*([None, *sorted(c.prices)] for c in chances)):
        yield tuple((i, s) for i, s in enumerate(choice) if s is not None)


def brute_force(switches: int, demands: Sequence[Demand], chances: Sequence[Chance],
                ties: Sequence[Sequence[int]] = (), links: Sequence[Link] = ()) -> int:
    """Least price over every opening and every set of flips."""
    found = (price(demands, chances, ties, opening, flips, links)
             for opening in product((0, 1), repeat=switches) for flips in _sets(chances))
    return min(p for p in found if p is not None)


def replayed(demands: Sequence[Demand], chances: Sequence[Chance], ties: Sequence[Sequence[int]],
             opening: Sequence[int], flips: Sequence[Flip],
             links: Sequence[Link] = ()) -> int | None:
    """Price of a solution; None if it breaks the rules or flips to where the switch stands."""
    standing = list(opening)
    for flip in sorted(flips, key=lambda f: chances[f.chance].start):
        if standing[flip.switch] == flip.position:
            return None
        standing[flip.switch] = flip.position
    return price(demands, chances, ties, opening, tuple((f.chance, f.switch) for f in flips),
                 links)


def programme(switches: int, demands: Sequence[Demand], chances: Sequence[Chance],
              ties: Sequence[Sequence[int]] = (), links: Sequence[Link] = ()) -> int:
    """Least price by an integer programme over the state after each chance."""
    n = len(chances)
    width = switches * (n + 1) + 2 * switches * n
    state = {(s, c): s * (n + 1) + c + 1 for s in range(switches) for c in range(-1, n)}
    up = {(s, c): switches * (n + 1) + 2 * (s * n + c) for s in range(switches) for c in range(n)}
    ways = [(d, w) for d, demand in enumerate(demands) for w in range(len(demand.ways))]
    cost = np.zeros(width + len(ways) + len(links))
    rows, low, high = [], [], []

    def row(entries: dict[int, float], least: float, most: float) -> None:
        line = np.zeros(len(cost))
        for column, value in entries.items():
            line[column] += value
        rows.append(line)
        low.append(least)
        high.append(most)

    for s in range(switches):
        for c, chance in enumerate(chances):
            change = up[s, c]
            cost[change] = cost[change + 1] = chance.prices.get(s, 0)
            row({state[s, c]: 1, state[s, c - 1]: -1, change: -1, change + 1: 1}, 0, 0)
            row({change: 1, change + 1: 1}, 0, 1 if s in chance.prices else 0)
    for c, one in enumerate(chances):
        for d in range(c):
            if chances[d].end > one.start:
                row({up[s, k] + i: 1 for s in range(switches) for k in (c, d) for i in (0, 1)},
                    0, 1)
        row({up[s, c] + i: 1 for s in range(switches) for i in (0, 1)}, 0, 1)

    def last(time: int) -> int:
        return max((c for c, chance in enumerate(chances) if chance.start <= time), default=-1)

    constant = sum(d.drop for d in demands)
    for index, (d, w) in enumerate(ways):
        column, demand = width + index, demands[d]
        s, position, paid = demand.ways[w]
        cost[column] = paid - demand.drop
        at = state[s, last(demand.time)]
        row({column: 1, at: -1 if position else 1}, -1, 0 if position else 1)
        for c, chance in enumerate(chances):
            if chance.start <= demand.time < chance.end:
                row({column: 1, up[s, c]: 1, up[s, c] + 1: 1}, 0, 1)
    for index, link in enumerate(links):
        paid = width + len(ways) + index
        cost[paid] = link.price
        row({width + ways.index((link.one, link.way)): 1,
             width + ways.index((link.other, link.other_way)): 1, paid: -1}, -1, 1)
    for d in range(len(demands)):
        row({width + i: 1 for i, (e, _) in enumerate(ways) if e == d}, 0, 1)
    for group in ties:
        for s in range(switches):
            for time in group[1:]:
                if last(time) != last(group[0]):
                    row({state[s, last(group[0])]: 1, state[s, last(time)]: -1}, 0, 0)
        for c, chance in enumerate(chances):
            if any(chance.start <= t < chance.end for t in group):
                row({up[s, c] + i: 1 for s in range(switches) for i in (0, 1)}, 0, 0)
    done = milp(cost, integrality=np.ones(len(cost)), bounds=Bounds(0, 1),
                constraints=LinearConstraint(np.array(rows), low, high),
                options={"mip_rel_gap": 0.0})
    return round(done.fun) + constant
