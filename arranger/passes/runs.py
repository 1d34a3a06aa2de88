"""Share long one-hand runs and arpeggios between the hands.

A rising or falling line of single notes, longer than one hand places at a time and wider than its
span, goes to both hands in turn where the other hand is free (Kuntz: groups of four or fewer). It
is free if it has time to come before its own first group, and to go where it is wanted next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from arranger.model.draft import Draft, HarpNote
from arranger.passes.settings import Settings
from arranger.plan.hand_options import reach
from arranger.plan.slices import Slice, slices
from arranger.rulebook.players import Player

STAGE = "runs"
_LEAST = 3  # notes of a group, where there are more groups than need be (assumption)
_FAST = 0.3  # seconds between the notes of a run (assumption)


def share_runs(draft: Draft, settings: Settings) -> Draft:
    """Give every second group of a long run to the other hand."""
    played = slices([n for n in draft.notes if not n.source.grace], draft.source.tempo)
    hands: dict[str, str] = {}
    for run in _runs(played):
        hands |= _share(run, played, settings.player)
    if not hands:
        return draft
    return replace(draft, notes=tuple(
        replace(n, hand=hands[n.id]) if n.id in hands else n for n in draft.notes))


def _runs(played: Sequence[Slice]) -> list[tuple[int, int]]:
    """Maximal ranges (first, last) of slices with one note each, fast, in one direction."""
    found: list[tuple[int, int]] = []
    first, way = 0, 0
    for at in range(1, len(played) + 1):
        step = _step(played, at) if at < len(played) else 0
        if step == 0 or (way and step != way):
            if at - first >= 2:
                found.append((first, at - 1))
            first = at - 1 if step else at
        way = step
    return found


def _step(played: Sequence[Slice], at: int) -> int:
    """1 up, -1 down from one single fast note to the next; 0 if it is no such pair."""
    a, b = played[at - 1], played[at]
    if len(a.notes) != 1 or len(b.notes) != 1 or b.seconds - a.seconds > _FAST:
        return 0
    way = b.notes[0].string.position - a.notes[0].string.position
    return (way > 0) - (way < 0)


def _share(run: tuple[int, int], played: Sequence[Slice], player: Player) -> dict[str, str]:
    first, last = run
    notes: list[HarpNote] = [played[i].notes[0] for i in range(first, last + 1)]
    most = player.one_hand_run_notes
    one_hand = {n.hand for n in notes}
    places = [n.string.position for n in notes]
    wide = abs(places[-1] - places[0]) > player.span_steps
    if len(one_hand) != 1 or len(notes) <= most or not wide:
        return {}
    count = -(-len(notes) // most)
    run_slices = range(first, last + 1)
    hands = _in_turn(run_slices, count, played, player)
    if not hands and len(notes) >= _LEAST * (count + 1):  # the hand that has the line ends it
        hands = _in_turn(run_slices, count + 1, played, player)
    return hands


def _in_turn(run: range, count: int, played: Sequence[Slice], player: Player) -> dict[str, str]:
    """So many groups in turn; nothing where the other hand cannot come, or cannot be back."""
    mine = played[run[0]].notes[0].hand
    other = "L" if mine == "R" else "R"
    cuts = [run[0] + len(run) * rank // count for rank in range(count + 1)]
    theirs = range(cuts[1], cuts[count // 2 * 2])
    if not all(_has_time(other, at, way, played, player)
               for at, way in ((theirs[0], -1), (theirs[-1], 1))):
        return {}
    hands: dict[str, str] = {}
    for rank, (start, end) in enumerate(pairwise(cuts)):
        hand = mine if rank % 2 == 0 else other
        low, high = reach(hand, player)
        group = [played[at].notes[0] for at in range(start, end)]
        if any(not low.position <= n.string.position <= high.position for n in group):
            return {}
        hands |= {n.id: hand for n in group}
    return hands


def _has_time(hand: str, at: int, way: int, played: Sequence[Slice], player: Player) -> bool:
    """Tell whether a hand has time from what it plucks last to a slice, or (``way`` 1) on."""
    here = played[at]
    place = here.notes[0].string.position
    for there in played[at + 1:] if way > 0 else reversed(played[:at]):
        places = [n.string.position for n in there.notes if n.hand == hand]
        if places:
            far = min(abs(place - p) for p in places) - player.span_steps
            return abs(there.seconds - here.seconds) > max(
                player.collision_seconds, far / player.travel_steps_per_second)
    return True
