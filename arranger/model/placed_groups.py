"""Placed groups: strings whose fingers are set before the first of them is plucked.

A hand places fingers in one direction: up with falling fingers, 4 3 2 1, or down with rising ones.
Where strings turn, a finger is needed again or the hand would have to span more than it can, it is
placed anew (common practice). The thumb may slide to the string below, and the group goes on
(Volpe Bligh, "Writing for the Pedal Harp").
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from arranger.model.draft import HarpNote
from arranger.model.score import NoteId

Grip = Sequence[HarpNote]

#: String steps of a tenth, which a hand spans securely (Sibelius Academy, Harp notation manual).
TENTH = 9
REST = Fraction(1)  # quarter notes of rest after which a hand is placed anew (assumption)


@dataclass(slots=True)
class _Group:
    """Grips placed together so far; ``way`` is 1 up, -1 down, 0 while it can be either.

    ``span``: string steps that the hand covers with all its fingers placed.
    """

    span: int
    grips: list[Grip] = field(default_factory=list)
    way: int = 0

    def takes(self, grip: Grip) -> bool:
        """Add the grip if it lies ahead of all fingers placed, and within the span; tell if so."""
        placed = [(n.string.position, n.finger or 0) for g in self.grips for n in g]
        more = [(n.string.position, n.finger or 0) for n in grip]
        if grip[0].onset - max(n.source.end for n in self.grips[-1]) >= REST:
            return False
        places = [position for position, _ in (*placed, *more)]
        if max(places) - min(places) > self.span:
            return False
        if not self.way and len(placed) == len(more) == 1 and slides(self.grips[-1], grip):
            self.grips.append(grip)
            self.way = -1
            return True
        for way in (1, -1):
            if self.way in (0, way) and all(way * (s - t) > 0 and way * (f - g) < 0
                                            for s, f in more for t, g in placed):
                self.grips.append(grip)
                self.way = way
                return True
        return False


def slides(before: Grip, after: Grip) -> bool:
    """Tell whether the thumb slides from one single note to the string below."""
    if len(before) != 1 or len(after) != 1 or not before[0].finger == after[0].finger == 1:
        return False
    return before[0].string.position - after[0].string.position == 1


def placed_groups(notes: Iterable[HarpNote], span: int = TENTH) -> tuple[tuple[Grip, ...], ...]:
    """Return the groups of both hands in order of time, each as its grips.

    A grip is what one hand plucks at once, lowest string first. Notes without a finger, and grace
    notes, belong to no group. ``span``: string steps of the player's hand, which only a single
    grip, being rolled, may exceed.
    """
    fingered = [n for n in notes if n.finger is not None and not n.source.grace]
    groups: list[_Group] = []
    for hand in "RL":
        grips: dict[Fraction, list[HarpNote]] = {}
        for note in sorted(fingered, key=lambda n: (n.onset, n.string)):
            if note.hand == hand:
                grips.setdefault(note.onset, []).append(note)
        group: _Group | None = None
        for grip in grips.values():
            if group is None or not group.takes(grip):
                group = _Group(span, [grip])
                groups.append(group)
    groups.sort(key=lambda g: g.grips[0][0].onset)
    return tuple(tuple(g.grips) for g in groups)


def finger_hints(notes: Sequence[HarpNote], span: int = TENTH) -> frozenset[NoteId]:
    """Return the notes whose finger tells the rest: where a group begins, or a line changes hand.

    Of a chord its lowest string, or all where a finger is passed over; a chord struck again with
    the same fingers says nothing new. Fingers that cross begin a group. ``span``: as of
    ``placed_groups``.
    """
    shown: set[NoteId] = set()
    last: dict[str, object] = {}
    for grips in placed_groups(notes, span):
        first, hand = grips[0], grips[0][0].hand
        held = [(n.string.position, n.finger) for n in first]
        if len(first) == 1 or len(grips) > 1 or last.get(hand) != held:
            fingers = [n.finger or 0 for n in first]
            next_to_next = fingers == list(range(fingers[0], fingers[0] - len(first), -1))
            shown |= {n.id for n in (first[:1] if next_to_next else first)}
        last[hand] = held
    hands: dict[Fraction, set[str]] = {}
    lowest: dict[Fraction, HarpNote] = {}
    for note in sorted(notes, key=lambda n: (n.onset, n.string)):
        if not note.source.grace:
            hands.setdefault(note.onset, set()).add(note.hand)
            lowest.setdefault(note.onset, note)
    before: set[str] = set()
    for onset, here in hands.items():
        if len(here) == len(before) == 1 and here != before:
            shown.add(lowest[onset].id)
        before = here
    return frozenset(shown)
