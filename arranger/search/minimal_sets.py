"""All smallest subsets of some items that fail a test, where more items never make it pass."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from typing import TypeVar

T = TypeVar("T", bound=Hashable)
MOST_TRIED = 400


def minimal_sets(items: Sequence[T], fails: Callable[[Sequence[T]], bool],
                 most: int = MOST_TRIED) -> tuple[list[tuple[T, ...]], bool]:
    """Return the failing subsets that pass without any one item, in the order of ``items``.

    From a failing collection items are taken away one by one while it fails. Then each item of
    the set so found is taken away in turn and the rest searched again, for every other such set
    lacks one of them (R. Reiter, A theory of diagnosis from first principles, 1987).

    Returns
    -------
    The sets, and whether they are all there are: False if more than ``most`` collections would
    have to be looked at.
    """
    found: dict[frozenset[T], tuple[T, ...]] = {}
    tried: set[frozenset[T]] = set()
    open_ = [tuple(items)]
    while open_:
        rest = open_.pop()
        key = frozenset(rest)
        if key in tried:
            continue
        if len(tried) == most:
            return list(found.values()), False
        tried.add(key)
        core = next((found[known] for known in found if known <= key), ())
        if not core and fails(rest):
            core = _shrunk(rest, fails)
            found[frozenset(core)] = core
        open_ += [tuple(i for i in rest if i != gone) for gone in core]
    return list(found.values()), True


def _shrunk(items: Sequence[T], fails: Callable[[Sequence[T]], bool]) -> tuple[T, ...]:
    core = list(items)
    for item in items:
        fewer = [i for i in core if i != item]
        if fails(fewer):
            core = fewer
    return tuple(core)
