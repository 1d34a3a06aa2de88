"""Fingers as they are read on the stand, where hands and strings stand.

The joint plan finds fingers at the least price; of the many that cost the same a player reads some
with more ease. Here each hand is fingered once more, exactly, for the same price and two small ones
besides (``rules/prices.toml``): groups begin on beats (``off_beat``), and figures that come again
have the fingers that most of them have (``unlike``, for each grip). What still costs the same is
settled so: fingers go the way of the strings, thumbs come before other fingers. So no grip
gives up more of the plan's price than the two.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from arranger.plan.grip_costs import GripCosts, together
from arranger.plan.grips import Grip, beyond, finger_sets, grip_price
from arranger.rulebook.players import Player

Fingers = tuple[int, ...]
Prices = npt.NDArray[np.int64]
Usual = Mapping[int, Sequence[Fingers]]  #: by pluck: fingers of its figures elsewhere

#: A unit of price is so many of what breaks ties.
_UNIT = 64
#: What it breaks ties by where the next grip lies above and its fingers do not, or below.
_AGAINST = 4
#: Ways of a placed group: both still open, up, down.
_WAYS = (0, 1, -1)
_NEVER = 1 << 60
#: Times that both hands are gone over, at most, until nothing changes.
_ROUNDS = 3


@dataclass(frozen=True, slots=True)
class Pluck:
    """One hand at one moment: strings from the lowest up, and the fingers they may have.

    ``seconds`` from the start of the score; ``off`` the beat: 0 on it, 1 halfway, 2 elsewhere;
    ``rests``: the hand had a rest before it; ``figures``: the figures of which it is a part, each
    as a name that equal ones share, the number of the figure, and its place in it.
    """

    strings: tuple[int, ...]
    seconds: float
    off: int
    rests: bool
    choice: tuple[Fingers, ...]
    figures: tuple[tuple[Hashable, int, int], ...] = ()


@dataclass(frozen=True, slots=True)
class _Step:
    """From the choices of one pluck to those of the next (old x new).

    ``price``: what the plan pays; ``ways``: the way in which a group may go on; ``begins``: what a
    group that begins there costs besides.
    """

    price: Prices
    ways: Prices
    begins: int

    def after(self, total: Prices) -> tuple[Prices, Prices]:
        """Least totals (new x way of its group), and where they come from among the old ones.

        ``total``: old x way. A group goes on where it may, as it is printed.
        """
        cost = total[:, :, None] + self.price[:, None, :]
        ahead = self.ways[:, None, :]
        own = np.array(_WAYS)[None, :, None]
        goes = (ahead != 0) & ((own == 0) | (own == ahead))
        cost = cost + np.where(goes, 0, self.begins)
        then = np.where(goes, ahead, 0)
        flat, count = cost.reshape(-1, cost.shape[2]), cost.shape[2]
        best = np.empty((count, len(_WAYS)), np.int64)
        origin = np.empty((count, len(_WAYS)), np.int64)
        for rank, way in enumerate(_WAYS):
            row = np.where(then.reshape(flat.shape) == way, flat, _NEVER)
            origin[:, rank] = row.argmin(axis=0)
            best[:, rank] = row.min(axis=0)
        return best, origin


class Stand:
    """Both hands of a piece, to be fingered as they are read."""

    def __init__(self, hands: Mapping[str, Sequence[Pluck]], player: Player,
                 prices: Mapping[str, int]) -> None:
        self._hands = hands
        self._player = player
        self._prices = prices
        self._costs = GripCosts(player, prices)
        self._ahead: dict[tuple[object, ...], tuple[Prices, Prices]] = {}
        for pluck in (p for plucks in hands.values() for p in plucks):
            for held in pluck.choice:
                self._costs.number(Grip(pluck.strings, held))
        self._own = {hand: [self._grip_prices(p) for p in plucks]
                     for hand, plucks in hands.items()}
        self._steps = {hand: [self._step(a, b) for a, b in pairwise(plucks)]
                       for hand, plucks in hands.items()}

    def fingers(self) -> dict[str, tuple[Fingers, ...]]:
        """Fingers of every pluck of either hand, from its lowest string up."""
        found: dict[str, tuple[Fingers, ...]] = dict.fromkeys(self._hands, ())
        for _ in range(_ROUNDS):
            before = dict(found)
            for hand in sorted(self._hands, reverse=True):
                usual = _usual(self._hands[hand], found[hand]) if found[hand] else {}
                found[hand] = self._of_hand(hand, usual, found)
            if found == before:
                break
        return found

    def _of_hand(self, hand: str, usual: Usual,
                 found: Mapping[str, Sequence[Fingers]]) -> tuple[Fingers, ...]:
        """Cheapest fingers of one hand, beside those of the other."""
        beside = self._beside(hand, found)
        plucks, steps, back = self._hands[hand], self._steps[hand], []
        total = np.zeros((0, len(_WAYS)), np.int64)
        for at, pluck in enumerate(plucks):
            price = self._own[hand][at] + beside.get(at, 0)
            for fingers in usual.get(at, ()):
                price = price + np.array([_UNIT * self._prices["unlike"] * (f != fingers)
                                          for f in pluck.choice])
            if at == 0:
                total = np.full((len(price), len(_WAYS)), _NEVER)
                total[:, 0] = price
                continue
            total, origin = steps[at - 1].after(total)
            total += price[:, None]
            back.append(origin)
        picked: list[Fingers] = []
        best = int(total.argmin()) if plucks else 0
        for at in range(len(plucks) - 1, -1, -1):
            picked.append(plucks[at].choice[best // len(_WAYS)])
            best = int(back[at - 1].flat[best]) if at else 0
        return tuple(reversed(picked))

    def _grip_prices(self, pluck: Pluck) -> Prices:
        """Price of every choice in itself; among equals the first finger sets come first."""
        ranks = {f: rank for rank, f in enumerate(finger_sets(
            len(pluck.strings), self._player.fingers_per_hand))}
        return np.array([_UNIT * grip_price(Grip(pluck.strings, f), self._player, self._prices)
                         + ranks.get(f, 0) for f in pluck.choice], dtype=np.int64)

    def _step(self, old: Pluck, new: Pluck) -> _Step:
        """From every choice of a pluck to every one of the next."""
        against, ways = self._directions(old, new)
        price, age = against, new.seconds - old.seconds
        if age <= self._costs.horizon:
            ids = [np.array([self._costs.number(Grip(p.strings, f)) for f in p.choice])
                   for p in (old, new)]
            price = price + _UNIT * self._costs.own(0, ids[0], np.full(len(ids[0]), age), ids[1])
        return _Step(price, np.zeros_like(ways) if new.rests else ways,
                     _UNIT * self._prices["off_beat"] * new.off)

    def _directions(self, old: Pluck, new: Pluck) -> tuple[Prices, Prices]:
        """Price of fingers that go against the strings, and ways in which a group may go on."""
        key = old.strings, old.choice, new.strings, new.choice
        if key not in self._ahead:
            befores, afters = ([Grip(p.strings, f) for f in p.choice] for p in (old, new))
            self._ahead[key] = (
                _AGAINST * np.array([[_against(a, b) for b in afters] for a in befores]),
                np.array([[goes_on(a, b, self._player) for b in afters] for a in befores]))
        return self._ahead[key]

    def _beside(self, hand: str, found: Mapping[str, Sequence[Fingers]]) -> dict[int, Prices]:
        """Price of the other hand's fingers on neighbouring strings at the same moment."""
        other = "L" if hand == "R" else "R"
        if not found.get(other):
            return {}
        there = {p.seconds: Grip(p.strings, f)
                 for p, f in zip(self._hands[other], found[other], strict=True)}
        prices: dict[int, Prices] = {}
        for at, pluck in enumerate(self._hands[hand]):
            theirs = there.get(pluck.seconds)
            if theirs is not None:
                mine = [Grip(pluck.strings, f) for f in pluck.choice]
                pairs = [(theirs, g) if hand == "R" else (g, theirs) for g in mine]
                prices[at] = np.array([_UNIT * together(*p, self._prices) for p in pairs],
                                      dtype=np.int64)
        return prices


def _against(before: Grip, after: Grip) -> bool:
    """Tell whether fingers go the other way than the strings; however far, a hand lies one way."""
    if after.strings[0] > before.strings[-1]:
        return after.fingers[0] >= before.fingers[-1]
    if after.strings[-1] < before.strings[0]:
        return after.fingers[-1] <= before.fingers[0]
    return False


def goes_on(before: Grip, after: Grip, player: Player) -> int:
    """Way in which a grip can have been placed with the one before it: 1 up, -1 down, 0 none.

    It lies ahead, with fingers in order and no farther than they span; or the thumb slides to the
    string below.
    """
    up = after.strings[0] - before.strings[-1]
    down = before.strings[0] - after.strings[-1]
    if up > 0:
        one, other, steps = before.fingers[-1], after.fingers[0], up
    elif down > 0:
        other, one, steps = before.fingers[0], after.fingers[-1], down
        if before.fingers == after.fingers == (1,) and steps == 1:
            return -1
    else:
        return 0
    if one <= other or beyond(player, one, other, steps):
        return 0
    return 1 if up > 0 else -1


def _usual(plucks: Sequence[Pluck], fingers: Sequence[Fingers]) -> dict[int, list[Fingers]]:
    """Fingers of every pluck in the way that most figures like its own are fingered."""
    members: dict[tuple[Hashable, int], list[tuple[int, int]]] = defaultdict(list)
    for at, pluck in enumerate(plucks):
        for name, number, place in pluck.figures:
            members[name, number].append((place, at))
    kinds: dict[Hashable, list[list[int]]] = defaultdict(list)
    for (name, _), row in members.items():
        kinds[name].append([at for _, at in sorted(row)])
    found: dict[int, list[Fingers]] = defaultdict(list)
    for figures in kinds.values():
        if len(figures) > 1:
            (usual, _), *_ = Counter(tuple(fingers[at] for at in figure)
                                     for figure in figures).most_common()
            for figure in figures:
                for at, wanted in zip(figure, usual, strict=True):
                    found[at].append(wanted)
    return found
