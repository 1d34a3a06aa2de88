"""The options of a slice: string or loss of every note, hands, fingers, rolls.

The universe of the joint plan, slice by slice. Patterns say which way every note takes: the one
the pedals alone would choose, and every other string of one or two of its notes; leaving a note
out is offered where pedals, fingers or hands make that necessary. Every pattern is shared between
the hands in every way without crossing and as the staves have it, with every finger set of either
hand (``plan.hand_options``, ``plan.grips``).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations

from arranger.model.pitch import Pitch
from arranger.plan.grip_costs import together
from arranger.plan.grips import Grip, grip_price, grips
from arranger.plan.hand_options import Hand, Option, Tone, options
from arranger.plan.pedal_path import Ways
from arranger.rulebook.players import Player
from arranger.rulebook.universe import Universe

LOST = -1  #: way of a note that is left out


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


def _agree(ways: Sequence[Ways], pattern: Sequence[int]) -> bool:
    """Tell whether one pedal setting gives the pattern."""
    position: dict[str, int] = {}
    for note, way in zip(ways, pattern, strict=True):
        if way != LOST and not note.free:
            pitch = note.ways[way].pitch
            if position.setdefault(pitch.step, pitch.alter) != pitch.alter:
                return False
    return True


def choices(tones: Sequence[Tone], ways: Sequence[Ways], pattern: Sequence[int], player: Player,
            prices: Mapping[str, int], places: frozenset[int],
            universe: Universe) -> tuple[Choice, ...]:
    """All ways of both hands to play a pattern.

    Parameters
    ----------
    tones : the notes of the slice; their pitch is replaced by that of the way.
    places : positions of strings that a note may be moved to by an octave.
    """
    kept: dict[int, int] = {}  # string -> note; a second note on it is the same pluck
    for i, way in enumerate(pattern):
        if way != LOST:
            kept.setdefault(ways[i].ways[way].pitch.position, i)
    order = [kept[s] for s in sorted(kept)]
    played = tuple(replace(tones[i], pitch=ways[i].ways[pattern[i]].pitch) for i in order)
    found = []
    for option, price in _shared(played, player, _key(prices), places, universe):
        held = {order[i]: p for hand in (option.left, option.right) for i, p in hand.tones}
        taken = tuple(LOST if i in order and i not in held else way
                      for i, way in enumerate(pattern))
        moved = tuple((i, p) for i, p in sorted(held.items())
                      if p != ways[i].ways[pattern[i]].pitch)
        for left in _grips(option.left):
            for right in _grips(option.right):
                both = together(left, right, prices) if left and right else 0
                own = sum(grip_price(g, player, prices) for g in (left, right) if g)
                found.append(Choice(taken, left, right, moved, price + both + own))
    return tuple(found)


def _grips(hand: Hand) -> tuple[Grip | None, ...]:
    if not hand.tones:
        return (None,)
    return grips(tuple(p.position for _, p in hand.tones), hand.rolled)


def _key(prices: Mapping[str, int]) -> tuple[tuple[str, int], ...]:
    return tuple(prices.items())


@lru_cache(maxsize=1 << 14)
def _shared(tones: tuple[Tone, ...], player: Player, prices: tuple[tuple[str, int], ...],
            places: frozenset[int], universe: Universe) -> tuple[tuple[Option, int], ...]:
    """Options of the hands, each with its price without that of the lost notes."""
    found = []
    for option in options(tones, player, dict(prices), places, universe.thinned):
        held = {i for hand in (option.left, option.right) for i, _ in hand.tones}
        lost = sum(t.drop for i, t in enumerate(tones) if i not in held)
        found.append((option, option.price - lost))
    return tuple(found)
