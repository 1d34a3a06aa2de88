"""Which hand takes what in a part as it is written, and why no hand can, where none can.

The one place where a check asks the hand planner. The staff only breaks ties: a fault is told
only where no way of sharing the strings serves.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

from arranger.model.score import Note
from arranger.plan.hand_options import Option, Tone, options, reach
from arranger.plan.hand_path import hand_path
from arranger.rulebook.players import Player

_TOLD = ("H3", "H2", "H1")
#: Marks of chords that must not be rolled.
_PLAIN = frozenset({"staccato", "staccatissimo", "non-arpeggiate"})
_DROP = 1000  # price of a note left out of a grip: only the ranking matters


@dataclass(frozen=True, slots=True)
class Attack:
    """Notes struck together, lowest string first; seconds from the start of the score."""

    onset: Fraction
    seconds: float
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True)
class Grip:
    """Both hands at one attack, lowest string first.

    ``fault`` is the rule no sharing keeps, "" if one keeps all; ``if_rolled``: rolled, the chord
    could be held after all.
    """

    left: tuple[Note, ...]
    right: tuple[Note, ...]
    fault: str = ""
    if_rolled: bool = False

    def hand(self, which: str) -> tuple[Note, ...]:
        """Notes of one hand, L or R."""
        return self.left if which == "L" else self.right


def grips(attacks: Sequence[Attack], player: Player,
          prices: Mapping[str, int]) -> tuple[Grip, ...]:
    """Share a whole part between the hands; one grip an attack."""
    strings = [_strings(a.notes) for a in attacks]
    paid = tuple(sorted(prices.items()))
    rows = [_options(tuple(_tone(n) for n in notes), player, paid) for notes in strings]
    _, path = hand_path(rows, [a.seconds for a in attacks], player, prices)
    found = []
    for notes, option in zip(strings, path, strict=True):
        left = tuple(notes[i] for i, _ in option.left.tones)
        right = tuple(notes[i] for i, _ in option.right.tones)
        whole = len(left) + len(right) == len(notes)
        found.append(Grip(left, right) if whole else _broken_grip(left, right, notes, player))
    return tuple(found)


@lru_cache(maxsize=16384)
def _options(tones: tuple[Tone, ...], player: Player,
             prices: tuple[tuple[str, int], ...]) -> tuple[Option, ...]:
    return options(tones, player, dict(prices), frozenset(), 16)


def _broken_grip(left: tuple[Note, ...], right: tuple[Note, ...], notes: Sequence[Note],
                 player: Player) -> Grip:
    """Say what is wrong; a chord that only a roll brings into reach is too wide."""
    rolled = [replace(n, marks=n.marks | {"arpeggiate"}) for n in notes]
    plain = any(n.marks & _PLAIN for n in notes)
    if not plain and not fault(rolled, player):
        return Grip(left, right, "H2", if_rolled=True)
    return Grip(left, right, fault(notes, player))


def _strings(notes: Sequence[Note]) -> tuple[Note, ...]:
    """One note of each string, from the lowest up."""
    first: dict[int, Note] = {}
    for note in notes:
        first.setdefault(note.pitch.position, note)
    return tuple(first[position] for position in sorted(first))


def _tone(note: Note) -> Tone:
    return Tone(pitch=note.pitch, hand="R" if note.staff == 1 else "L", drop=_DROP, fixed=True,
                roll=False, rolled="arpeggiate" in note.marks, chord=note.chord)


def fault(notes: Sequence[Note], player: Player) -> str:
    """Rule that keeps these notes from being plucked at once: H1, H2, H3, or "" if none does.

    Of all ways to share the strings the one that breaks fewest rules is named, reach before span
    before fingers; more notes than two hands have fingers are always H1.
    """
    ordered = _strings(notes)
    return _fault(tuple(n.pitch.position for n in ordered),
                  tuple("arpeggiate" in n.marks for n in ordered), player)


@lru_cache(maxsize=4096)
def _fault(places: tuple[int, ...], rolled: tuple[bool, ...], player: Player) -> str:
    if len(places) > 2 * player.fingers_per_hand:
        return "H1"
    ways = [_broken(places[:cut], rolled[:cut], "L", player)
            + _broken(places[cut:], rolled[cut:], "R", player) for cut in range(len(places) + 1)]
    least = min(ways, key=lambda way: (len(way), [_TOLD.index(code) for code in way]))
    return least[0] if least else ""


def _broken(places: tuple[int, ...], rolled: tuple[bool, ...], which: str,
            player: Player) -> tuple[str, ...]:
    if not places:
        return ()
    span = player.rolled_span_steps if any(rolled) else player.span_steps
    low, high = reach(which, player)
    tests = {"H3": places[0] < low.position or places[-1] > high.position,
             "H2": places[-1] - places[0] > span,
             "H1": len(places) > player.fingers_per_hand}
    return tuple(code for code, broken in tests.items() if broken)
