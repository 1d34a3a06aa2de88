"""Fingers of a trill that one hand plays: 2 1 2 1, and more fingers in turn where it is quick."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from arranger.rulebook.players import Player

#: Notes from which on two strings in turn are a trill, and most steps between them (assumption).
TRILL_NOTES, TRILL_STEPS = 6, 2
#: Fingers of a trill from its lower string on, by the strings they serve in turn: lower and upper
#: (C. Swanson, harpcolumn topic 83412: 2121, 213121, 43214321).
_FINGERS = {"calm": ((2,), (1,)), "quick": ((2, 3), (1,)), "quickest": ((4, 2), (3, 1))}


def trill_fingers(strings: Sequence[tuple[int, ...]], seconds: Sequence[float],
                  player: Player) -> dict[int, int]:
    """Finger by place of every note of one hand's trills; ``strings``: what it plucks in order.

    A finger comes back after two notes in 2 1 2 1. Where that is less than its placing takes more
    fingers take turns: 2 1 3 1 while the thumb alone is pressed a little, else 4 3 2 1.
    """
    found: dict[int, int] = {}
    first = 0
    for at in range(1, len(strings) + 1):
        if at < len(strings) and _alternates(strings, first, at):
            continue
        if at - first >= TRILL_NOTES:
            found |= _fingers(strings, seconds, range(first, at), player)
        first = max(at - 1, first)
    return found


def _alternates(strings: Sequence[tuple[int, ...]], first: int, at: int) -> bool:
    """Tell whether a string is the other one of two that lie close."""
    before, here = strings[at - 1], strings[at]
    return (len(before) == len(here) == 1 and 0 < abs(here[0] - before[0]) <= TRILL_STEPS
            and (at - first < 2 or here == strings[at - 2]))


def _fingers(strings: Sequence[tuple[int, ...]], seconds: Sequence[float], run: range,
             player: Player) -> dict[int, int]:
    gaps = sorted(b - a for a, b in pairwise(seconds[at] for at in run))
    back = 2 * gaps[len(gaps) // 2]
    pressed = (player.placing_lead_seconds + player.restrike_error_seconds) / 2
    if back >= player.placing_lead_seconds or player.fingers_per_hand < 4:
        return {}  # the plan's own
    lower, upper = _FINGERS["quick" if back >= pressed else "quickest"]
    bottom = min(strings[run[0]], strings[run[1]])
    found: dict[int, int] = {}
    for rank, at in enumerate(run):
        turn = lower if strings[at] == bottom else upper
        found[at] = turn[rank // 2 % len(turn)]
    return found
