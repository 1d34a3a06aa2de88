"""The search over levers: the least price, by every flip tried and by another programme."""

from __future__ import annotations

from collections.abc import Sequence
from random import Random

import pytest

from arranger.search.levers import Chance, Demand, Flip, Link, cheapest_flips
from tests.lever_oracles import brute_force, programme, replayed

Problem = tuple[int, list[Demand], list[Chance], list[tuple[int, ...]]]


def problem(random: Random, switches: int, length: int, chances: int) -> Problem:
    demands = []
    for _ in range(random.randint(1, length)):
        ways = {(random.randrange(switches), random.randrange(2)): random.choice((0, 4, 30))
                for _ in range(random.choice((1, 1, 1, 2, 3)))}
        demands.append(Demand(random.randrange(length * 4),
                              tuple((s, p, w) for (s, p), w in ways.items()),
                              random.choice((15, 60, 130, 900))))
    starts = sorted(random.randrange(length * 4) for _ in range(chances))
    found = [Chance(start, start + random.randint(1, 4),
                    {s: random.choice((10, 40, 120)) for s in range(switches)
                     if random.random() < 0.9}) for start in starts]
    ties = []
    if random.random() < 0.3:
        ties.append(tuple(sorted(random.sample(range(length * 4 + 1), 2))))
    return switches, demands, found, ties


def links_of(random: Random, demands: Sequence[Demand], most: int) -> list[Link]:
    found = []
    for _ in range(random.randint(1, most)):
        one, other = random.randrange(len(demands)), random.randrange(len(demands))
        if one != other:
            found.append(Link(one, random.randrange(len(demands[one].ways)), other,
                              random.randrange(len(demands[other].ways)),
                              random.choice((5, 20, 200))))
    return found


def proved(case: Problem, expected: int, links: Sequence[Link] = ()) -> None:
    switches, demands, chances, ties = case
    solution = cheapest_flips(demands, chances, ties, links)
    assert solution.total == expected
    opening = [solution.opening.get(s, 0) for s in range(switches)]
    assert replayed(demands, chances, ties, opening, solution.flips, links) == expected
    for demand, way in zip(demands, solution.taken, strict=True):
        assert way is None or demand.ways[way][2] < demand.drop


@pytest.mark.parametrize("seed", range(60))
def test_total_equals_brute_force(seed):
    random = Random(seed)
    case = problem(random, random.randint(1, 3), 5, random.randint(0, 4))
    proved(case, brute_force(*case))


@pytest.mark.parametrize("seed", range(60))
def test_total_with_links_equals_brute_force(seed):
    random = Random(2000 + seed)
    switches, demands, chances, ties = case = problem(random, random.randint(2, 3), 5,
                                                      random.randint(0, 3))
    links = links_of(random, demands, 4)
    proved(case, brute_force(switches, demands, chances, ties, links), links)


@pytest.mark.parametrize("seed", range(30))
def test_total_equals_another_integer_programme(seed):
    random = Random(1000 + seed)
    case = problem(random, random.randint(3, 7), 14, random.randint(4, 14))
    proved(case, programme(*case))


@pytest.mark.parametrize("seed", range(20))
def test_total_with_links_equals_another_integer_programme(seed):
    random = Random(3000 + seed)
    switches, demands, chances, ties = case = problem(random, random.randint(3, 6), 14,
                                                      random.randint(4, 10))
    links = links_of(random, demands, 8)
    proved(case, programme(switches, demands, chances, ties, links), links)


@pytest.mark.campaign
@pytest.mark.parametrize("seed", range(400))
def test_total_equals_another_integer_programme_at_length(seed):
    random = Random(5000 + seed)
    case = problem(random, random.randint(3, 12), 40, random.randint(10, 40))
    proved(case, programme(*case))


def test_the_two_judges_agree():
    for seed in range(20):
        case = problem(Random(300 + seed), 2, 4, 3)
        assert brute_force(*case) == programme(*case)


def test_nothing_moves_where_the_cheapest_ways_agree():
    demands = [Demand(0, ((0, 1, 0), (1, 0, 4)), 99), Demand(5, ((1, 1, 0),), 99)]
    solution = cheapest_flips(demands, [Chance(1, 3, {0: 10, 1: 10})])
    assert (solution.total, solution.flips, solution.opening) == (0, (), {0: 1, 1: 1})


def test_one_mover_flips_one_switch_at_a_time():
    demands = [Demand(t, ((s, int(t > 0), 0),), 100) for t in (0, 9) for s in (0, 1)]
    both = {0: 10, 1: 10}
    assert cheapest_flips(demands, [Chance(1, 4, both), Chance(3, 6, both)]).total == 110
    solution = cheapest_flips(demands, [Chance(1, 4, both), Chance(4, 7, both)])
    assert solution.total == 20
    assert {(f.chance, f.switch) for f in solution.flips} in ({(0, 0), (1, 1)}, {(0, 1), (1, 0)})


def test_a_switch_serves_nothing_while_it_is_flipped():
    demands = [Demand(0, ((0, 0, 0),), 100), Demand(2, ((0, 1, 0),), 50),
               Demand(4, ((0, 1, 0),), 100)]
    solution = cheapest_flips(demands, [Chance(1, 4, {0: 10})])
    assert (solution.total, solution.taken) == (60, (0, None, 0))
    assert solution.flips == (Flip(0, 0, 1),)
