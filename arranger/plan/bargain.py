"""Bargaining between the two sides of a plan: what they are offered next, and the bound so far."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log2

from arranger.plan.pedal_path import Ways
from arranger.plan.universe import LOST, NOTHING, Offers
from arranger.plan.whole import NoteWays

#: Rounds without a better bound after which the steps are halved.
_PATIENCE = 3
#: What a quarrel between two strings of one pitch is about, about (hands, a pedal).
_LEAST_WEIGHT = 10
#: Share of the first step below which bargaining is not worth its while.
_TIRED = 0.1

Quarrel = tuple[int, int, int, int]  #: slice, note, the way of the pedals, of the hands


@dataclass(frozen=True, slots=True)
class Wants:
    """What both sides would do under some offers, where they disagree, and the bound proved.

    ``wider``: the hands were offered something new, so that lower bounds may hold no more.
    """

    bound: int
    offers: Offers
    pedals: NoteWays
    hands: NoteWays
    quarrels: tuple[Quarrel, ...]
    wider: bool = False


class Deal:
    """How far bargaining has come: the next offers, and the wants that gave the highest bound."""

    def __init__(self, offers: Offers, closed: Offers) -> None:
        self.offers = offers
        self.closed = closed
        self._firm: Wants | None = None
        self._pace, self._stale = 1.0, 0
        self._seen: dict[tuple[int, int], tuple[int, int, float]] = {}

    @property
    def wants(self) -> Wants:
        """Those that gave the highest bound."""
        assert self._firm is not None
        return self._firm

    @property
    def bound(self) -> int:
        """The highest so far."""
        return self.wants.bound

    @property
    def tired(self) -> bool:
        """Tell whether the bound has not risen for long."""
        return self._pace < _TIRED

    def heard(self, wants: Wants) -> None:
        """Take note of what both sides want under the last offers."""
        self._stale += 1
        if self._firm is None or wants.wider or wants.bound > self._firm.bound:
            self._firm, self._stale = wants, 0

    def offer(self, wants: Wants, top: int, ways: Sequence[Sequence[Ways]]) -> None:
        """Make other offers where the sides quarrel; ``top``: price of the best plan."""
        if self._stale == _PATIENCE:
            wants, self._pace, self._stale = self.wants, self._pace / 2, 0
        weights = [self._weight(q, ways) for q in wants.quarrels]
        pace = _even(self._pace * (top - self.bound) / (2 * sum(weights)))
        changed: dict[int, dict[tuple[int, int], int]] = {}
        for (t, i, wished, wanted), weight in zip(wants.quarrels, weights, strict=True):
            step = max(1, round(weight * pace))
            here = changed.setdefault(t, dict(wants.offers.get(t, NOTHING)))
            for way, sign in ((wished, 1), (wanted, -1)):
                here[i, way] = here.get((i, way), 0) + sign * step
        self.offers = {**wants.offers, **changed}

    def _weight(self, quarrel: Quarrel, ways: Sequence[Sequence[Ways]]) -> float:
        """How much a quarrel is about; it grows while it lasts and shrinks when it is reversed."""
        t, i, wished, wanted = quarrel
        note = ways[t][i]
        one, other = (note.drop if k == LOST else note.ways[k].price for k in (wished, wanted))
        last = self._seen.get((t, i))
        weight: float = max(_LEAST_WEIGHT, abs(one - other)) if last is None else last[2]
        if last is not None and last[:2] == (wished, wanted):
            weight *= 1.5
        elif last is not None and last[:2] == (wanted, wished):
            weight /= 2
        self._seen[t, i] = wished, wanted, weight
        return weight


def quarrels(pedals: NoteWays, hands: NoteWays) -> tuple[Quarrel, ...]:
    """Notes on which the sides disagree."""
    return tuple((t, i, x, y) for t, (a, b) in enumerate(zip(pedals, hands, strict=True)) if a != b
                 for i, (x, y) in enumerate(zip(a, b, strict=True)) if x != y)


def _even(pace: float) -> float:
    """The pace in steps of a factor of 1.4, so that far places hardly ever change each other's."""
    return float(2.0 ** (round(2 * log2(pace)) / 2)) if pace > 0 else 0.0
