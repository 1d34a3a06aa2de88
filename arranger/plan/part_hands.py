"""Which hand and finger take what in a part as it is written, and why none can, where none can.

The one place where a check asks the hand planner, for notes whose strings stand and which stay.
The staff is the hand and written fingers are kept, unless that costs too much elsewhere; a fault is
told only where no way of sharing the strings serves. A line that stands on one staff while the
other has nothing is both hands' (``plan.hand_over_hand``).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache
from typing import TypeVar

from arranger.model.draft import HarpNote
from arranger.model.pins import Pin
from arranger.model.score import Note, NoteId
from arranger.plan.exposure import exposed
from arranger.plan.hand_options import Tone, reach
from arranger.plan.hand_search import HandSearch, Scene
from arranger.plan.pedal_path import Way, Ways
from arranger.plan.recall import Recall
from arranger.plan.slices import Slice
from arranger.plan.universe import LOST, Choice
from arranger.rulebook.players import Player
from arranger.rulebook.universe import load_universe

T = TypeVar("T")

_TOLD = ("H3", "H2", "H1")
#: Marks of chords that must not be rolled.
_PLAIN = frozenset({"staccato", "staccatissimo", "non-arpeggiate"})
_DROP = 1000  # price of a note left out of a grip: only the ranking matters
#: Price of a string that comes back too soon for any finger: told by rule R1, and here it stays.
_AGAIN = 500
_UNWRITTEN: Mapping[NoteId, int] = {}


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
    could be held after all. ``fingers``: 1 (thumb) to 4, of the notes that are held.
    """

    left: tuple[Note, ...]
    right: tuple[Note, ...]
    fault: str = ""
    if_rolled: bool = False
    fingers: Mapping[NoteId, int] = field(default_factory=dict)

    def hand(self, which: str) -> tuple[Note, ...]:
        """Notes of one hand, L or R."""
        return self.left if which == "L" else self.right


def grips(attacks: Sequence[Attack], player: Player, prices: Mapping[str, int],
          written: Mapping[NoteId, int] = _UNWRITTEN, recall: Recall | None = None,
          loose: Collection[int] = ()) -> tuple[Grip, ...]:
    """Share a whole part between hands and fingers; one grip an attack (exact).

    ``written``: fingers that stand in the part; they are kept wherever the hands can. ``recall``:
    of the same part, player and prices. ``loose``: attacks whose staff is not their hand.
    """
    strings = [_strings(a.notes) for a in attacks]
    parts = tuple(Slice(a.onset, a.seconds, tuple(
        HarpNote(n, n.pitch, "L" if n.staff == 2 else "R", None, "arpeggiate" in n.marks)
        for n in notes)) for a, notes in zip(attacks, strings, strict=True))
    recall = recall or Recall()
    scene = Scene(
        parts,
        ways=_rows(recall, (tuple(Ways((Way(n.pitch, 0),), _DROP) for n in notes)
                            for notes in strings)),
        ends=(), tones=_rows(recall, (tuple(_tone(n, thin, at in loose) for n in notes)
                                      for at, (notes, thin) in enumerate(zip(
                                          strings, exposed(parts), strict=True)))),
        places=frozenset(),
        pins=_rows(recall, (tuple(_written(n, written) for n in notes) for notes in strings))
        if written else (), universe=replace(load_universe(), changes=0))
    prices = {**prices, "other_hand": prices["written_hand"]}
    search = HandSearch(scene, [[0] * len(notes) for notes in strings], player, prices,
                        recall=recall, impossible=_AGAIN)
    lost = {t: {(i, LOST): _DROP for i in range(len(notes))} for t, notes in enumerate(strings)}
    _, picked = search.solve(lost, search.search)
    return tuple(_grip(notes, choice, player)
                 for notes, choice in zip(strings, picked, strict=True))


def _rows(recall: Recall, rows: Iterable[tuple[T, ...]]) -> tuple[tuple[T, ...], ...]:
    """Rows that are the same objects as equal ones before them, by which slots are known again."""
    return tuple(recall.same(("row", row), row) for row in rows)


def unshared(attacks: Sequence[Attack], player: Player) -> tuple[Grip, ...]:
    """Faults alone, attack by attack, without asking which hand takes what."""
    return tuple(_broken_grip((), (), _strings(a.notes), player) for a in attacks)


def _grip(notes: Sequence[Note], choice: Choice, player: Player) -> Grip:
    hands: list[tuple[Note, ...]] = []
    fingers: dict[NoteId, int] = {}
    for grip in (choice.left, choice.right):
        of = {} if grip is None else dict(zip(grip.strings, grip.fingers, strict=True))
        held = tuple(n for n in notes if n.pitch.position in of)
        hands.append(held)
        fingers |= {n.id: of[n.pitch.position] for n in held}
    left, right = hands
    return replace(_broken_grip(left, right, notes, player), fingers=fingers)


def _broken_grip(left: tuple[Note, ...], right: tuple[Note, ...], notes: Sequence[Note],
                 player: Player) -> Grip:
    """Say what is wrong; a chord that only a roll brings into reach is too wide."""
    found = fault(notes, player)
    if not found:
        return Grip(left, right)
    rolled = [replace(n, marks=n.marks | {"arpeggiate"}) for n in notes]
    plain = any(n.marks & _PLAIN for n in notes)
    if not plain and not fault(rolled, player):
        return Grip(left, right, "H2", if_rolled=True)
    return Grip(left, right, found)


def _strings(notes: Sequence[Note]) -> tuple[Note, ...]:
    """One note of each string, from the lowest up."""
    first: dict[int, Note] = {}
    for note in notes:
        first.setdefault(note.pitch.position, note)
    return tuple(first[position] for position in sorted(first))


def _written(note: Note, fingers: Mapping[NoteId, int]) -> Pin:
    finger = fingers.get(note.id)
    return Pin() if finger is None else Pin(hand="L" if note.staff == 2 else "R", finger=finger)


def _tone(note: Note, thin: bool, loose: bool) -> Tone:
    return Tone(pitch=note.pitch, hand="R" if note.staff == 1 else "L", drop=_DROP, fixed=True,
                roll=False, rolled="arpeggiate" in note.marks, chord=note.chord, exposed=thin,
                loose=loose)


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
