"""Share long one-hand runs and arpeggios between the hands.

A rising or falling line of single notes, longer than one hand places at a time and wider than its
span, goes to both hands in turn where the other hand is free (Kuntz: groups of four or fewer).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from arranger.model.draft import Draft, HarpNote
from arranger.passes.settings import Settings
from arranger.plan.hand_options import reach
from arranger.plan.slices import Slice, slices
from arranger.rulebook.players import Player

STAGE = "runs"
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
    mine = notes[0].hand
    other = "L" if mine == "R" else "R"
    count = -(-len(notes) // most)
    hands: dict[str, str] = {}
    for rank in range(count):
        group = notes[rank * len(notes) // count:(rank + 1) * len(notes) // count]
        hand = mine if rank % 2 == 0 else other
        low, high = reach(hand, player)
        if any(not low.position <= n.string.position <= high.position for n in group):
            return {}
        hands |= {n.id: hand for n in group}
    return hands if _free(other, first, played, player) else {}


def _free(hand: str, first: int, played: Sequence[Slice], player: Player) -> bool:
    """Tell whether the other hand has had time to come over."""
    for at in range(first - 1, -1, -1):
        if played[first].seconds - played[at].seconds > player.collision_seconds:
            return True
        if any(n.hand == hand for n in played[at].notes):
            return False
    return True
