"""Smallest failing sets against all subsets; one foot's moves against all orders."""

from __future__ import annotations

from itertools import combinations, permutations

from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.plan.foot_order import FootMove, in_some_order
from arranger.search.minimal_sets import minimal_sets


@given(st.lists(st.frozensets(st.integers(0, 7), min_size=1, max_size=4), max_size=5))
@settings(max_examples=300, deadline=None)
def test_all_smallest_failing_sets_are_found(cores: list[frozenset[int]]) -> None:
    found, complete = minimal_sets(range(8), lambda s: any(c <= set(s) for c in cores), 10**6)
    assert complete
    assert {frozenset(s) for s in found} == {
        c for c in cores if not any(other < c for other in cores)}
    assert len(found) == len({frozenset(s) for s in found})


def test_the_bound_is_told() -> None:
    pairs = [{2 * i, 2 * i + 1} for i in range(8)]
    found, complete = minimal_sets(range(16), lambda s: any(p <= set(s) for p in pairs), 3)
    assert not complete
    assert 0 < len(found) < 8
    assert minimal_sets(range(5), lambda _: False) == ([], True)


moves = st.builds(lambda a, w, t: FootMove(a / 8, (a + w) / 8, t / 8), st.integers(0, 12),
                  st.integers(1, 12), st.sampled_from([2, 3]))


@given(st.lists(moves, max_size=6))
@settings(max_examples=400, deadline=None)
def test_one_foot_against_all_orders(asked: list[FootMove]) -> None:
    def goes(order: tuple[FootMove, ...]) -> bool:
        free = float("-inf")
        for move in order:
            start = max(free, move.after)
            if start >= move.before:
                return False
            free = start + move.takes
        return True

    assert in_some_order(asked) == any(goes(order) for order in permutations(asked))


def test_many_moves_far_apart_are_quick() -> None:
    asked = [FootMove(float(i), i + 3.0, 0.25) for i in range(2000)]
    assert in_some_order(asked)
    crowd = [FootMove(50.0, 51.0, 0.25) for _ in range(5)]
    assert not in_some_order([*asked[:40], *crowd])
    assert all(in_some_order([*asked[:40], *some]) for some in combinations(crowd, 4))
