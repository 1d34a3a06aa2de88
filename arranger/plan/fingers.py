"""Fingers of one hand: 1 is the thumb and takes the highest string, in both hands."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import combinations, pairwise

from arranger.rulebook.players import Player

#: Seconds after which a hand is placed afresh and fingers no longer depend on the last ones.
_AFRESH = 0.6
#: Steps between two fingers so many fingers apart that lie easily: a third to a fourth for
#: neighbours, an octave for thumb and fourth (common practice).
_EASY = {1: (1, 3), 2: (3, 5), 3: (5, 9)}


def fingerings(strings: Sequence[tuple[int, ...]], times: Sequence[float],
               player: Player) -> list[tuple[int, ...]]:
    """Cheapest fingers for a sequence of grips of one hand.

    Parameters
    ----------
    strings : positions of the strings of every grip, lowest first (1 to 4 of them).
    times : seconds of the grips.

    Returns
    -------
    Fingers of every grip in the order of its strings; falling from the lowest string up.
    """
    spans = (player.finger_pair_1_2_steps, player.finger_pair_2_3_steps,
             player.finger_pair_3_4_steps)
    table: list[list[tuple[int, int]]] = []
    choices: list[tuple[tuple[int, ...], ...]] = []
    for at, grip in enumerate(strings):
        ways = _ways(len(grip))
        steps = tuple(b - a for a, b in pairwise(grip))
        row = []
        for fingers in ways:
            own = _shape(steps, fingers, spans)
            if at == 0:
                row.append((own, -1))
                continue
            gap = times[at] - times[at - 1]
            costs = [table[-1][i][0] + _follow(strings[at - 1], grip, old, fingers, gap)
                     for i, old in enumerate(choices[-1])]
            best = min(range(len(costs)), key=costs.__getitem__)
            row.append((costs[best] + own, best))
        table.append(row)
        choices.append(ways)
    if not table:
        return []
    at = min(range(len(table[-1])), key=lambda i: table[-1][i][0])
    picks = []
    for rank in range(len(table) - 1, -1, -1):
        picks.append(choices[rank][at])
        at = table[rank][at][1]
    return picks[::-1]


@lru_cache(maxsize=8)
def _ways(count: int) -> tuple[tuple[int, ...], ...]:
    """Finger sets for a grip of ``count`` strings, lowest string first, thumbs preferred."""
    return tuple(sorted((tuple(reversed(c)) for c in combinations(range(1, 5), count)),
                        key=lambda f: (f[-1], f)))


@lru_cache(maxsize=65536)
def _shape(steps: tuple[int, ...], fingers: tuple[int, ...], spans: tuple[int, ...]) -> int:
    """Price of a grip: spans beyond each pair of fingers, no thumb, fingers left out."""
    price = 0
    for step, (low, high) in zip(steps, pairwise(fingers), strict=True):
        room = sum(spans[f - 1] for f in range(high, low))
        price += 5 * max(0, step - room)
        least, most = _EASY[low - high]
        price += max(0, least - step, step - most)
        if step >= 4 and high != 1:
            price += 2  # the widest gap belongs next to the thumb (Kuntz; Freund & Cutler)
    if len(fingers) > 1:
        price += 3 * (fingers[-1] - 1)
        price += fingers[0] - len(fingers)
    return price


def _follow(old: tuple[int, ...], new: tuple[int, ...], old_fingers: tuple[int, ...],
            fingers: tuple[int, ...], gap: float) -> int:
    """Price of one grip after another."""
    if gap > _AFRESH:
        return 0
    if len(old) > 1 or len(new) > 1:
        return 2 * sum(s == t and f == g and gap < 0.25 for s, f in zip(old, old_fingers,
                                                                      strict=True)
                       for t, g in zip(new, fingers, strict=True))
    way, before, after = new[0] - old[0], old_fingers[0], fingers[0]
    if way == 0:
        return 4 if before == after and gap < 0.25 else 1
    rising = before - after if way > 0 else after - before  # in the hand's own order
    if rising > 0:
        return abs(abs(way) - rising)
    turn = (before == 1 and after >= 3) if way > 0 else (before >= 3 and after == 1)
    return 4 + abs(way) if turn else 12
