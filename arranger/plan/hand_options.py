"""What two hands can do with the notes of one slice.

Hands are split at a cut point, lower strings to the left; the split of the staves is kept as an
option where it crosses. A hand's share that is too wide to be plucked at once may be rolled; only
where no split fits the hands otherwise are notes left out or moved by an octave.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations, pairwise, product

from arranger.model.harp import HarpString
from arranger.model.pitch import Pitch
from arranger.rulebook.players import Player
from arranger.rulebook.rules import rule

#: Times dearer an octave is where it breaks a line (assumption: dearer than any inner note lost).
_BROKEN = 4


@dataclass(frozen=True, slots=True)
class Tone:
    """A note of a slice: its pitch, the hand its staff suggests, and what losing it costs.

    ``fixed``: it may not be moved by octaves (tune, bass, or a string without disc near by);
    else by one of ``shifts``, which keep it between bass and tune as long as it sounds.
    ``roll``: it may be part of a rolled chord; ``rolled``: the source rolls it; ``chord`` numbers
    the written chord. ``exposed``: it is struck in a thin texture (``plan.exposure``).
    ``moving``: it is shorter than a beat, so that an octave breaks its line. ``idle``: the other
    hand has nothing to do about that time and may well take all of the moment. ``loose``: its
    staff says little of the hand. ``tune``: it leads the tune. ``loud``: it is plucked loudly on a
    wire string.
    """

    pitch: Pitch
    hand: str
    drop: int
    fixed: bool
    roll: bool
    rolled: bool
    chord: int
    exposed: bool = False
    moving: bool = False
    idle: bool = False
    loose: bool = False
    tune: bool = False
    loud: bool = False
    shifts: tuple[int, ...] = (-1, 1)


@dataclass(frozen=True, slots=True)
class Hand:
    """What one hand plucks: (index of the tone, pitch) from the lowest up, and if it rolls."""

    tones: tuple[tuple[int, Pitch], ...] = ()
    rolled: bool = False

    @property
    def low(self) -> int:
        """Position of the lowest string."""
        return self.tones[0][1].position

    @property
    def high(self) -> int:
        """Position of the highest string."""
        return self.tones[-1][1].position


@dataclass(frozen=True, slots=True)
class Option:
    """Both hands at one slice and the price of this way in itself."""

    left: Hand
    right: Hand
    price: int


def options(tones: Sequence[Tone], player: Player, prices: Mapping[str, int],
            octaves: frozenset[int], most: int) -> tuple[Option, ...]:
    """All ways to share the tones of a slice between the hands.

    Parameters
    ----------
    tones : lowest first.
    octaves : positions of strings (by 7 times octave plus step) that may be moved to.
    most : options kept where notes must be left out, moved or rolled (the cheapest).

    Returns
    -------
    Ways in which both hands are within the player's limits; never empty unless ``tones`` is.
    """
    if not tones:
        return (Option(Hand(), Hand(), 0),)
    splits = _splits(tones, player, prices["roll"])
    if any(o.price == 0 for o in splits):
        return tuple(_sized(o, tones, player, prices) for o in splits)
    found: dict[tuple[Hand, Hand], Option] = {}
    for cut in range(len(tones) + 1):
        lefts, rights = (_thin(tones, picked, which, player, prices, octaves, 2 * most)
                         for picked, which in ((range(cut), "L"), (range(cut, len(tones)), "R")))
        for left, right in product(lefts, rights):
            if _clash(left[0], right[0]):
                continue
            option = Option(left[0], right[0], left[1] + right[1])
            found[option.left, option.right] = _sized(option, tones, player, prices)
    ranked = sorted(found.values(), key=lambda o: (o.price, o.left.tones, o.right.tones))
    return tuple(ranked[:most])


def _clash(left: Hand, right: Hand) -> bool:
    """Tell whether a moved note landed on a string of the other hand."""
    mine = {p.position for _, p in left.tones}
    return any(p.position in mine for _, p in right.tones)


def _splits(tones: Sequence[Tone], player: Player, roll: int) -> list[Option]:
    """Every note in one of the hands; what is too wide for one may be rolled at this price."""
    n = len(tones)
    ways = [(tuple(range(cut)), tuple(range(cut, n))) for cut in range(n + 1)]
    staves = (tuple(i for i in range(n) if tones[i].hand == "L"),
              tuple(i for i in range(n) if tones[i].hand == "R"))
    if staves not in ways:
        ways.append(staves)
    found = []
    for left, right in ways:
        hands = [(_hand(tones, left, "L", player), 0), (_hand(tones, right, "R", player), 0)]
        for at, (picked, which) in enumerate(((left, "L"), (right, "R"))):
            if hands[at][0] is None:
                hands[at] = _wide(tones, picked, which, player), roll
        (one, its), (other, theirs) = hands
        if one is not None and other is not None:
            found.append(Option(one, other, its + theirs))
    return found


def _hand(tones: Sequence[Tone], picked: Sequence[int], which: str,
          player: Player) -> Hand | None:
    """One hand taking these tones as they are, or None if it cannot."""
    rolled = any(tones[i].rolled for i in picked)
    hand = Hand(tuple((i, tones[i].pitch) for i in picked), rolled)
    return hand if _fits(hand, which, player) else None


def _wide(tones: Sequence[Tone], picked: Sequence[int], which: str,
          player: Player) -> Hand | None:
    """One hand rolling these tones, which it does not span at once; None if it cannot."""
    hand = Hand(tuple((i, tones[i].pitch) for i in picked), True)
    return hand if all(tones[i].roll for i in picked) and _fits(hand, which, player) else None


def reach(which: str, player: Player) -> tuple[HarpString, HarpString]:
    """Lowest and highest string of a hand."""
    if which == "L":
        return player.left_hand_lowest, player.left_hand_highest
    return player.right_hand_lowest, player.right_hand_highest


def _fits(hand: Hand, which: str, player: Player) -> bool:
    if not hand.tones:
        return True
    low, high = reach(which, player)
    span = player.rolled_span_steps if hand.rolled else player.span_steps
    return (len(hand.tones) <= player.fingers_per_hand and hand.high - hand.low <= span
            and hand.low >= low.position and hand.high <= high.position)


def _thin(tones: Sequence[Tone], picked: Sequence[int], which: str, player: Player,
          prices: Mapping[str, int],
          octaves: frozenset[int], most: int) -> list[tuple[Hand, int]]:
    """Ways of one hand to take some of these tones, with what that costs."""
    found: list[tuple[Hand, int]] = []
    all_lost = sum(tones[i].drop for i in picked)
    movable = _movable(tones, picked, octaves)
    for count in range(min(len(picked), player.fingers_per_hand) + 1):
        for kept in combinations(picked, count):
            lost = all_lost - sum(tones[i].drop for i in kept)
            plain = _hand(tones, kept, which, player)
            if plain is not None:
                found.append((plain, lost))
            elif (wide := _wide(tones, kept, which, player)) is not None:
                found.append((wide, lost + prices["roll"]))
            found += [(hand, lost - tones[i].drop
                       + prices["octave"] * (_BROKEN if tones[i].moving else 1))
                      for i, hand in _moved(tones, movable, kept, which, player)]
    found.sort(key=lambda f: (f[1], f[0].tones))
    return found[:most]


def _movable(tones: Sequence[Tone], picked: Sequence[int],
             octaves: frozenset[int]) -> list[tuple[int, Pitch]]:
    """Tones an octave up or down, on strings that none of them is on."""
    taken = {t.pitch.position for t in tones}
    found = []
    for i in picked:
        for shift in () if tones[i].fixed else tones[i].shifts:
            pitch = tones[i].pitch.shifted(shift)
            inside = tones[0].pitch.position < pitch.position < tones[-1].pitch.position
            if inside and pitch.position not in taken and pitch.position in octaves:
                found.append((i, pitch))
    return found


def _moved(tones: Sequence[Tone], movable: Sequence[tuple[int, Pitch]], kept: Sequence[int],
           which: str, player: Player) -> Iterator[tuple[int, Hand]]:
    """Add one tone that did not fit, an octave nearer the hand."""
    for i, pitch in movable:
        if i not in kept:
            hand = Hand(tuple(sorted([*((k, tones[k].pitch) for k in kept), (i, pitch)],
                                     key=lambda t: t[1].position)), False)
            if _fits(hand, which, player):
                yield i, hand


@cache
def _close_and_low() -> tuple[int, int]:
    """Position of the string below which close intervals blur, and steps that are close (R3)."""
    limits = rule("R3").limits
    below = Pitch.parse(str(limits["below"].value)).position
    return below, int(rule("R3").number("close_steps"))


def _sized(option: Option, tones: Sequence[Tone], player: Player,
           prices: Mapping[str, int]) -> Option:
    """Add the price of the other hand, of shared chords, and of close intervals low down."""
    price = option.price
    chords: dict[int, set[str]] = {}
    for which, hand in (("L", option.left), ("R", option.right)):
        given = [tones[i] for i, _ in hand.tones if tones[i].hand != which]
        if given and len(given) == len(tones) and all(t.idle for t in given):
            price += prices["idle_hand"]
        else:
            price += sum(prices["loose_hand"] if t.loose else prices["other_hand"]
                         + t.tune * prices["tune_hand"] for t in given)
        for i, _ in hand.tones:
            chords.setdefault(tones[i].chord, set()).add(which)
    price += prices["split"] * sum(len(c) > 1 for c in chords.values())
    struck = sorted(p.position for hand in (option.left, option.right) for _, p in hand.tones)
    low, third = _close_and_low()
    price += prices["close_low"] * sum(a < low and b - a <= third for a, b in pairwise(struck))
    return Option(option.left, option.right, price)
