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
#: Times that both hands are gone over, at most, until nothing changes.
_ROUNDS = 4


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


class Stand:
    """Both hands of a piece, to be fingered as they are read."""

    def __init__(self, hands: Mapping[str, Sequence[Pluck]], player: Player,
                 prices: Mapping[str, int]) -> None:
        self._hands = hands
        self._player = player
        self._prices = prices
        self._costs = GripCosts(player, prices)
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
        plucks, total, back = self._hands[hand], np.zeros(1, np.int64), []
        for at, pluck in enumerate(plucks):
            price = self._own[hand][at] + beside.get(at, 0)
            for fingers in usual.get(at, ()):
                price = price + np.array([_UNIT * self._prices["unlike"] * (f != fingers)
                                          for f in pluck.choice])
            table = total[:, None] + (self._steps[hand][at - 1] if at else 0) + price[None, :]
            back.append(table.argmin(axis=0))
            total = table.min(axis=0)
        picked: list[Fingers] = []
        best = int(total.argmin())
        for at in range(len(plucks) - 1, -1, -1):
            picked.append(plucks[at].choice[best])
            best = int(back[at][best])
        return tuple(reversed(picked))

    def _grip_prices(self, pluck: Pluck) -> Prices:
        """Price of every choice in itself; among equals the first finger sets come first."""
        ranks = {f: rank for rank, f in enumerate(finger_sets(
            len(pluck.strings), self._player.fingers_per_hand))}
        return np.array([_UNIT * grip_price(Grip(pluck.strings, f), self._player, self._prices)
                         + ranks.get(f, 0) for f in pluck.choice], dtype=np.int64)

    def _step(self, old: Pluck, new: Pluck) -> Prices:
        """Price of every choice after every one of the pluck before."""
        befores, afters = ([Grip(p.strings, f) for f in p.choice] for p in (old, new))
        age = new.seconds - old.seconds
        price = np.zeros((len(befores), len(afters)), dtype=np.int64)
        if age <= self._costs.horizon:
            ids = [np.array([self._costs.number(g) for g in row]) for row in (befores, afters)]
            price += _UNIT * self._costs.own(0, ids[0], np.full(len(befores), age), ids[1])
        price += _AGAINST * np.array([[_against(a, b) for b in afters] for a in befores])
        if new.off:
            begun = [[new.rests or not goes_on(a, b, self._player) for b in afters]
                     for a in befores]
            price += _UNIT * self._prices["off_beat"] * new.off * np.array(begun, dtype=np.int64)
        return price

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


def goes_on(before: Grip, after: Grip, player: Player) -> bool:
    """Tell whether a grip can have been placed together with the one before it.

    It lies ahead, with fingers in order and no farther than they span; or the thumb slides to the
    string below.
    """
    up = after.strings[0] - before.strings[-1]
    down = before.strings[0] - after.strings[-1]
    if up > 0:
        one, other, steps = before.fingers[-1], after.fingers[0], up
    elif down > 0:
        other, one, steps = before.fingers[0], after.fingers[-1], down
        if before.fingers == after.fingers == (1,):
            return steps == 1
    else:
        return False
    return one > other and not beyond(player, one, other, steps)


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
