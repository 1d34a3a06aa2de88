"""A state for every place of a line, the cheapest in all: exact, for a handful of states."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from typing import TypeVar

S = TypeVar("S", bound=Hashable)


def cheapest_states(costs: Sequence[Mapping[S, int]],
                    change: Callable[[int, S, S], int]) -> list[S]:
    """Return one state a place so that the sum of costs and changes is least.

    Parameters
    ----------
    costs : price of each state at each place; the states that are open there.
    change : price of coming to place ``i`` in the second state from the first.

    Of equal sums the state named first wins, looked at from the end.
    """
    if not costs:
        return []
    totals = dict(costs[0])
    ways: list[dict[S, S]] = []
    for place in range(1, len(costs)):
        ways.append({})
        before, totals = totals, {}
        for state, cost in costs[place].items():
            sums = {old: total + change(place, old, state) for old, total in before.items()}
            best = min(sums.values())
            ways[-1][state] = (state if sums.get(state) == best else
                               next(old for old in sums if sums[old] == best))
            totals[state] = best + cost
    state = min(totals, key=totals.__getitem__)
    found = [state]
    for back in reversed(ways):
        state = back[state]
        found.append(state)
    return found[::-1]
