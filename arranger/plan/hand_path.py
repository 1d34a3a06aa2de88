"""Share a whole part between the hands: one option a slice, least travel and fewest collisions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from arranger.plan.hand_options import Hand, Option
from arranger.rulebook.players import Player


def hand_path(rows: Sequence[Sequence[Option]], times: Sequence[float], player: Player,
              prices: Mapping[str, int]) -> tuple[int, tuple[Option, ...]]:
    """Cheapest sequence of options, one of each row (exact; ties to the earliest option).

    Parameters
    ----------
    rows : options of each slice, none empty.
    times : seconds of the slices.
    """
    if not rows:
        return 0, ()
    best = [o.price for o in rows[0]]
    back: list[list[int]] = []
    for t in range(1, len(rows)):
        gap = times[t] - times[t - 1]
        choice: list[int] = []
        level: list[int] = []
        for after in rows[t]:
            costs = [best[i] + between(before, after, gap, player, prices)
                     for i, before in enumerate(rows[t - 1])]
            at = min(range(len(costs)), key=costs.__getitem__)
            choice.append(at)
            level.append(costs[at] + after.price)
        back.append(choice)
        best = level
    at = min(range(len(best)), key=best.__getitem__)
    total, picks = best[at], [at]
    for choice in reversed(back):
        at = choice[at]
        picks.append(at)
    return total, tuple(row[i] for row, i in zip(rows, reversed(picks), strict=True))


def between(before: Option, after: Option, gap: float, player: Player,
            prices: Mapping[str, int]) -> int:
    """Price of going from one slice to the next in ``gap`` seconds.

    A hand travels only as far as both grips together exceed its span: within it, it stays.
    """
    price = 0
    free = player.travel_steps_per_second * gap
    for old, new in ((before.left, after.left), (before.right, after.right)):
        if old.tones and new.tones:
            way = max(old.high, new.high) - min(old.low, new.low) - player.span_steps
            if way > free:
                price += int(prices["travel"] * (way - free))
    if gap < player.collision_seconds:
        price += prices["collision"] * (_shared(before.left, after.right)
                                        + _shared(before.right, after.left))
    return price


def _shared(old: Hand, new: Hand) -> int:
    if not old.tones or not new.tones or old.high < new.low or new.high < old.low:
        return 0
    strings = {p.position for _, p in old.tones}
    return sum(p.position in strings for _, p in new.tones)
