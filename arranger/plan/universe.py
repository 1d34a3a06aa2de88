"""The options of a slice: string or loss of every note, hands, fingers, rolls.

The universe of the joint plan, slice by slice. Patterns say which way every note takes: the one
the pedals alone would choose, and every other string of one or two of its notes; leaving a note
out is offered where pedals, fingers or hands make that necessary. Every pattern is shared between
the hands in every way without crossing and as the staves have it, with every finger set of either
hand (``plan.hand_options``, ``plan.grips``).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from arranger.model.pitch import Pitch
from arranger.plan.grip_costs import together
from arranger.plan.grips import Grip, grip_price, grips
from arranger.plan.hand_options import Hand, Tone, options
from arranger.plan.pedal_path import Ways
from arranger.rulebook.players import Player
from arranger.rulebook.universe import Universe

LOST = -1  #: way of a note that is left out
#: What ways of the notes of a slice cost besides, by note and way. Never changed once it is made:
#: it is known again by being the same object.
Extra = Mapping[tuple[int, int], int]
Offers = Mapping[int, Extra]  #: by slice
NOTHING: Extra = {}
NOWHERE: Offers = {}


@dataclass(frozen=True, slots=True)
class Choice:
    """One option of a slice: the way of every note (LOST: left out), both hands, the price.

    ``octaves``: notes sounded an octave away, with the pitch. The price leaves out the ways.
    """

    ways: tuple[int, ...]
    left: Grip | None
    right: Grip | None
    octaves: tuple[tuple[int, Pitch], ...]
    price: int


def patterns(ways: Sequence[Ways], base: Sequence[int], touchy: Sequence[bool],
             losable: Sequence[bool], universe: Universe) -> tuple[tuple[int, ...], ...]:
    """Ways of all notes of a slice at once: ``base``, and changes of some notes of it."""
    others: list[list[int]] = []
    for note, way, touch, lose in zip(ways, base, touchy, losable, strict=True):
        spelled = [k for k in range(note.spelled) if k != way] if touch and not note.free else []
        others.append(spelled + ([LOST] if lose and way != LOST else []))
    changes = [(i, k) for i, row in enumerate(others) for k in row]
    found = [tuple(base)]
    for count in range(1, universe.changes + 1):
        for some in combinations(changes, count):
            if len({i for i, _ in some}) == count:
                changed = list(base)
                for i, k in some:
                    changed[i] = k
                found.append(tuple(changed))
    return tuple(p for p in found if _agree(ways, p) or p == tuple(base))[:universe.patterns]


def with_losses(rows: Sequence[tuple[int, ...]],
                losable: Sequence[bool]) -> tuple[tuple[int, ...], ...]:
    """These patterns, and each with one more of its losable notes left out."""
    fewer = [(*row[:i], LOST, *row[i + 1:]) for row in rows for i, lose in enumerate(losable)
             if lose and row[i] != LOST]
    return tuple(dict.fromkeys((*rows, *fewer)))


def _plucked(note: int, first: int, held: Collection[int], still: Collection[int]) -> bool:
    """Tell whether a note sounds: one on the string of another does if that stays in its octave."""
    return note in held if note == first else first in still


def _agree(ways: Sequence[Ways], pattern: Sequence[int]) -> bool:
    """Tell whether one pedal setting gives the pattern."""
    position: dict[str, int] = {}
    for note, way in zip(ways, pattern, strict=True):
        if way != LOST and not note.free:
            pitch = note.ways[way].pitch
            if position.setdefault(pitch.step, pitch.alter) != pitch.alter:
                return False
    return True


#: Indices of the notes held, (index, pitch) of those moved by octaves, grips with their price.
_Both = tuple[tuple[Grip | None, Grip | None, int], ...]
_Shared = tuple[frozenset[int], tuple[tuple[int, Pitch], ...], _Both]
#: Pairs of grips that are kept for moments with the same tones.
_ROOM = 1 << 17


class Choices:
    """All ways of both hands to play the notes of a slice; what is found serves all like it.

    ``places``: positions of strings that a note may be moved to by an octave; ``thinned``: as in
    the universe.
    """

    def __init__(self, player: Player, prices: Mapping[str, int], places: frozenset[int],
                 thinned: int) -> None:
        self._player = player
        self._prices = prices
        self._places = places
        self._thinned = thinned
        self._shared: dict[tuple[Tone, ...], tuple[_Shared, ...]] = {}
        self._room = 0
        self._held: dict[tuple[tuple[int, ...], bool, bool, bool],
                         tuple[tuple[Grip | None, int], ...]] = {}

    def of(self, tones: Sequence[Tone], ways: Sequence[Ways],
           pattern: Sequence[int]) -> tuple[Choice, ...]:
        """Choices of a slice; the pitch of its ``tones`` is replaced by that of the way."""
        return tuple(Choice(taken, left, right, octaves, price)
                     for taken, octaves, both in self.shared(tones, ways, pattern)
                     for left, right, price in both)

    def shared(self, tones: Sequence[Tone], ways: Sequence[Ways], pattern: Sequence[int],
               ) -> Iterator[tuple[tuple[int, ...], tuple[tuple[int, Pitch], ...], _Both]]:
        """The same by what becomes of the notes: ways, octaves, both grips with their price."""
        kept: dict[int, int] = {}  # string -> note; a second note on it is the same pluck
        for i, way in enumerate(pattern):
            if way != LOST:
                kept.setdefault(ways[i].ways[way].pitch.position, i)
        order = [kept[s] for s in sorted(kept)]
        chords = [tones[i].chord for i in order]
        played = tuple(replace(tones[i], pitch=ways[i].ways[pattern[i]].pitch,
                               chord=chords.index(tones[i].chord)) for i in order)
        for held, moved, both in self._known(played):
            here = {order[i] for i in held}
            octaves = tuple(sorted((order[i], p) for i, p in moved))
            still = here - {i for i, _ in octaves}
            taken = tuple(LOST if way == LOST or not _plucked(
                i, kept[ways[i].ways[way].pitch.position], here, still) else way
                for i, way in enumerate(pattern))
            yield taken, octaves, both

    def _known(self, played: tuple[Tone, ...]) -> tuple[_Shared, ...]:
        """What both hands can do with these tones; forgotten now and then, as it takes room."""
        if played not in self._shared:
            found = self._shared[played] = tuple(self._hands(played))
            self._room += sum(len(both) for _, _, both in found)
            if self._room > _ROOM:
                self._shared, self._room = {played: found}, 0
        return self._shared[played]

    def _hands(self, tones: tuple[Tone, ...]) -> Iterator[_Shared]:
        """Notes held, notes moved by octaves, and grips of both hands with their price."""
        heard = any(t.exposed for t in tones), any(t.loud for t in tones)
        for option in options(tones, self._player, self._prices, self._places,
                              self._thinned):
            held = {i: p for hand in (option.left, option.right) for i, p in hand.tones}
            price = option.price - sum(t.drop for i, t in enumerate(tones) if i not in held)
            yield (frozenset(held),
                   tuple((i, p) for i, p in held.items() if p != tones[i].pitch),
                   tuple((left, right, price + one + other + (
                       together(left, right, self._prices) if left and right else 0))
                       for left, one in self._grips(option.left, *heard)
                       for right, other in self._grips(option.right, *heard)))

    def _grips(self, hand: Hand, exposed: bool,
               loud: bool) -> tuple[tuple[Grip | None, int], ...]:
        """Grips of a hand, with their price."""
        if not hand.tones:
            return ((None, 0),)
        key = tuple(p.position for _, p in hand.tones), hand.rolled, exposed, loud
        if key not in self._held:
            self._held[key] = tuple((g, grip_price(g, self._player, self._prices))
                                    for g in grips(*key, self._player.fingers_per_hand))
        return self._held[key]
