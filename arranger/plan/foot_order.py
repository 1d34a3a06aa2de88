"""Can one foot make all these moves? One after another, in any order, each begun in its time."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

#: Seconds that are no difference.
_CLOSE = 1e-6


class FootMove(NamedTuple):
    """A move that begins from ``after`` on and before ``before``, and keeps the foot ``takes``.

    All in seconds.
    """

    after: float
    before: float
    takes: float


def in_time(after: float, pluck: float, takes: float) -> FootMove:
    """Return a move that is over when the note it is for is plucked."""
    return FootMove(after, pluck - takes + _CLOSE, takes)


def in_some_order(moves: Sequence[FootMove]) -> bool:
    """Tell whether some order lets every move begin in its time (exact).

    Orders are tried as early as they go; of two ways to have made the same moves only the one
    with the foot free earlier is followed. A move that would begin only when another could be
    over already is not tried next, for the other fits in before it.
    """
    ordered = sorted(moves)
    if any(m.after >= m.before for m in ordered):
        return False
    everything = (1 << len(ordered)) - 1
    free_at: dict[int, float] = {0: float("-inf")}
    open_ = [0]
    while open_:
        done = open_.pop()
        if done == everything:
            return True
        ready = _ready(ordered, done, free_at[done])
        for start, move, at in sorted(ready, key=lambda r: r[1].before, reverse=True):
            more, end = done | 1 << at, start + move.takes
            if end < free_at.get(more, float("inf")):
                free_at[more] = end
                open_.append(more)
    return False


def _ready(ordered: Sequence[FootMove], done: int,
           free: float) -> list[tuple[float, FootMove, int]]:
    """Moves to try next, with their beginning and rank; none if one can no longer begin in time.

    ``ordered`` by ``after``; ``done`` has a bit for every move made.
    """
    found: list[tuple[float, FootMove, int]] = []
    soonest = float("inf")
    for at in range((~done & (done + 1)).bit_length() - 1, len(ordered)):
        move = ordered[at]
        if move.after >= soonest:
            break
        if done >> at & 1:
            continue
        start = max(free, move.after)
        if start >= move.before:
            return []
        soonest = min(soonest, start + move.takes)
        found.append((start, move, at))
    return [each for each in found if each[0] < soonest]
