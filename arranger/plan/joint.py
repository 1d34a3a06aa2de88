"""Strings, pedals, hands and fingers together: one optimum, with a proven bound.

Two exact searches share the decisions on the notes: ``pedal_path`` (strings and pedals) and the two
hands (``search.two_hands``). A price on every way of every note, added for the one and taken off
for the other, leaves the sum of both as it is; whatever it is, the sum of their optima is a lower
bound of the joint optimum. It is raised where the two disagree (Lagrangian decomposition: Guignard
& Kim 1987, Mathematical Programming 39:215-228; steps of Polyak 1969). Where they agree the
plan is optimal; else the best plan met is kept, and ``total - bound`` is the gap. A gap that is
left is closed by branching: a note on which the two disagree must go this way, or must not.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import log2
from typing import Any, Protocol, TypeVar

from arranger.plan.foot_work import FootWork
from arranger.plan.hand_search import HandSearch, Scene
from arranger.plan.pedal_path import PedalPath, PedalSearch, Way, Ways
from arranger.plan.recall import Recall
from arranger.plan.universe import LOST
from arranger.plan.whole import Moment, NoteWays, Plan, crossed
from arranger.rulebook.players import Player

#: Price of a way that is not to be taken.
_NEVER = 1 << 22
#: Price of another way than the written one, where what is written should stay if it can.
_DEAR = 1 << 12
#: Rounds without a better bound after which the steps are halved.
_PATIENCE = 3
#: What a quarrel between two strings of one pitch is about, about (hands, a pedal).
_LEAST_WEIGHT = 10
#: Of a gap wider than one part in so many, some comes from plans that are not good enough.
_WIDE = 15
#: Rounds of bargaining in a branch.
_BRANCH_ROUNDS = 6

Key = tuple[int, int, int]  #: slice, note, way
Offers = dict[Key, int]
Extra = frozenset[tuple[tuple[int, int], int]]  #: ((note, way), price) of a slice
Quarrel = tuple[int, int, int, int]  #: slice, note, the way of the pedals, of the hands


class _Knowing(Protocol):
    """A search that can start from what another one of its kind knows."""

    def knowing(self, other: Any) -> Any:
        """Return this search, with what the other knows."""


S = TypeVar("S", bound=_Knowing)


@dataclass(frozen=True, slots=True)
class _Wants:
    """What both sides would do under some offers, where they disagree, and the bound proved."""

    bound: int
    offers: Offers
    pedals: NoteWays
    hands: NoteWays
    quarrels: tuple[Quarrel, ...]


@dataclass(frozen=True, slots=True)
class _Branch:
    """Ways that are closed to both sides, where bargaining ended, and the bound."""

    bound: int
    closed: Offers
    wants: _Wants


class _Table:
    """Both sides at one table: they are asked under offers, and plans are priced whole."""

    def __init__(self, scene: Scene, player: Player, prices: Mapping[str, int],
                 pins: Mapping[int, tuple[int, ...]] | None, recall: Recall | None) -> None:
        self.scene = scene
        self.best: Plan | None = None
        self.trace: list[tuple[int, int, int]] = []
        self._recall = recall
        self._turns: Counter[str] = Counter()
        self._last: dict[str, Any] = {}
        self._pedals = PedalSearch(scene.parts, scene.ways, scene.ends, player, prices, pins,
                                   recall=recall)
        self._foot_work = self._pedals.given()
        self._rows: dict[tuple[int, Extra], tuple[Ways, ...]] = {}
        base = _taken(scene, self._next("asked", self._pedals).cheapest(scene.ways))
        kept = self._as_written()
        self.hands = HandSearch(scene, base, player, prices, kept, recall)
        self.written = self.price(kept)
        self.keep(self.written)

    def _next(self, kind: str, fresh: S) -> S:
        """The search for the next question of its kind.

        It starts from its counterpart in an earlier plan of the piece, or the search before it.
        """
        name = kind, self._turns[kind]
        self._turns[kind] += 1
        counterpart = self._recall.find(name) if self._recall else None
        self._last[kind] = fresh.knowing(counterpart or self._last.get(kind))
        if self._recall:
            self._recall.keep(name, self._last[kind])
        found: S = self._last[kind]
        return found

    def shares(self) -> Offers:
        """Start: the hands pay half of what a way costs, so that they do not part for nothing."""
        found: Offers = {}
        for t, row in enumerate(self.scene.ways):
            for i, note in enumerate(row):
                if self.hands.touchy[t][i] and len(note.ways) > 1:
                    found |= {(t, i, k): -(w.price // 2) for k, w in enumerate(note.ways)
                              if w.price}
                if self.hands.losable[t][i]:
                    found[t, i, LOST] = -(note.drop // 2)
        return found

    def ask(self, offers: Offers, closed: Offers) -> _Wants:
        """Solve both sides on their own."""
        path = self._next("asked", self._pedals).cheapest(self._dearer(offers, closed))
        wish = _taken(self.scene, path)
        total, picked = self.hands.solve(_for_hands(offers, closed),
                                         self._next("offered", self.hands.search))
        want = tuple(self.hands.ways(at, c, wish[at]) for at, c in enumerate(picked))
        return _Wants(path.total + total, offers, wish, want, _quarrels(wish, want))

    def _as_written(self) -> NoteWays:
        """The written strings, wherever the pedals give them."""
        written = tuple(tuple(map(_written, row)) for row in self.scene.ways)
        if self._feet(_named(self.scene, written)):
            return written
        return self.settled({(t, i, k): _DEAR for t, row in enumerate(self.scene.ways)
                             for i, note in enumerate(row) for k in range(len(note.ways))
                             if k != written[t][i]})

    def settled(self, dear: Offers) -> NoteWays:
        """What the pedals would do on their own if these ways were so much dearer."""
        search = self._next("settled", self._pedals)
        return _taken(self.scene, search.cheapest(self._dearer(dear)))

    def between(self, wants: _Wants) -> NoteWays:
        """What the pedals would do at full price if the hands had their way in what is too fast."""
        return self.settled({(t, i, k): _NEVER for t, losable in enumerate(self.hands.losable)
                             for i, fast in enumerate(losable) if fast
                             for k in range(LOST, len(self.scene.ways[t][i].ways))
                             if k != wants.hands[t][i]})

    def price(self, ways: NoteWays) -> Plan | None:
        """The best plan in which every note goes its given way, if feet can."""
        scene = self.scene
        work = self.hands.follow(ways, self._next("followed", self.hands.search))
        ways = tuple(self.hands.ways(at, c, w) for at, (c, w) in enumerate(
            zip(work.picked, ways, strict=True)))
        taken = _named(scene, ways)
        feet = self._feet(taken)
        if feet is None:
            return None
        cost = [sum(note.drop if way is None else way.price
                    for note, way in zip(notes, row, strict=True))
                for notes, row in zip(scene.ways, taken, strict=True)]
        stands = [(a, b) if a is not None else None
                  for a, b in zip(feet.stands, work.stands, strict=True)]
        return Plan(tuple(map(Moment, ways, taken, work.picked, feet.states, stands, cost,
                              feet.costs, work.costs)))

    def _feet(self, taken: Sequence[Sequence[Way | None]]) -> FootWork | None:
        """Cheapest foot work for these ways, if there is any."""
        return self._next("feet", self._foot_work).cheapest([
            [None if way is None or note.free else way.pitch
             for note, way in zip(notes, row, strict=True)]
            for notes, row in zip(self.scene.ways, taken, strict=True)])

    def keep(self, plan: Plan | None) -> None:
        """Take what is better in this plan into the best one."""
        if plan is not None:
            self.best = plan if self.best is None else crossed(self.best, plan)

    def worth(self) -> Plan | None:
        """The best plan, as it was written wherever a change saves too little."""
        if self.best is None or self.written is None:
            return self.best
        return crossed(self.written, self.best, self.scene.universe.margin)

    def _dearer(self, *more: Offers) -> list[tuple[Ways, ...]]:
        """Ways with these prices added to theirs; what is asked again is the same row."""
        added: dict[int, dict[tuple[int, int], int]] = defaultdict(lambda: defaultdict(int))
        for prices in more:
            for (t, i, way), price in prices.items():
                added[t][i, way] += price
        rows = list(self.scene.ways)
        for t, extra in added.items():
            key = t, frozenset(extra.items())
            if key not in self._rows:
                self._rows[key] = _priced(rows[t], extra)
            rows[t] = self._rows[key]
        return rows

    def bargain(self, offers: Offers, closed: Offers, rounds: int, further: int = 0,
                prove: bool = False) -> _Wants:
        """Raise the bound by offers; return the wants that gave the highest.

        While plans get better, what either side wants is priced as a plan. Where the bound is far
        off, ``further`` rounds at most follow, in which that is tried now and then; so many, too,
        to ``prove`` how near the plan is, whatever that brings.
        """
        universe = self.scene.universe
        firm: _Wants | None = None
        pace, stale, idle, wide = 1.0, 0, 0, True
        seen: dict[tuple[int, int], tuple[int, int, float]] = {}
        for turn in range(rounds):
            wants = self.ask(offers, closed)
            if idle < universe.patience or (wide and turn % 3 == 0):
                idle = 0 if self._try(wants, turn) else idle + 1
            else:
                further -= 1
            stale += 1
            if firm is None or wants.bound > firm.bound:
                firm, stale = wants, 0
            top = self.best.total if self.best else firm.bound + 100
            wide = self.best is None or (top - firm.bound) * _WIDE > top
            self.trace.append((firm.bound, top, len(wants.quarrels)))
            if not wants.quarrels or (top - firm.bound) * universe.near <= top or (
                    idle >= universe.patience and not (further > 0 and (wide or prove))):
                break
            if stale == _PATIENCE:
                wants, pace, stale = firm, pace / 2, 0
            quarrels = wants.quarrels
            weights = [self._weight(q, seen) for q in quarrels]
            pace_each = _even(pace * (top - firm.bound) / (2 * sum(weights)))
            offers = dict(wants.offers)
            for (t, i, wished, wanted), weight in zip(quarrels, weights, strict=True):
                step = max(1, round(weight * pace_each))
                for way, sign in ((wished, 1), (wanted, -1)):
                    offers[t, i, way] = offers.get((t, i, way), 0) + sign * step
        assert firm is not None
        return firm

    def _try(self, wants: _Wants, turn: int) -> bool:
        """Price what the sides want; tell whether that brought anything worth another round."""
        before = self.worth()
        self.keep(self.price(wants.hands if turn % 2 else wants.pedals))
        if wants.quarrels:
            self.keep(self.price(self.between(wants)))
        after = self.worth()
        return before is None or (after is not None and (
            before.total - after.total) * self.scene.universe.gain > before.total)

    def _weight(self, quarrel: Quarrel, seen: dict[tuple[int, int], tuple[int, int, float]]
                ) -> float:
        """How much a quarrel is about; it grows while it lasts and shrinks when it is reversed."""
        t, i, wished, wanted = quarrel
        ways = self.scene.ways[t][i]
        one, other = (ways.drop if k == LOST else ways.ways[k].price for k in (wished, wanted))
        last = seen.get((t, i))
        weight: float = max(_LEAST_WEIGHT, abs(one - other)) if last is None else last[2]
        if last is not None and last[:2] == (wished, wanted):
            weight *= 1.5
        elif last is not None and last[:2] == (wanted, wished):
            weight /= 2
        seen[t, i] = wished, wanted, weight
        return weight

    def branch(self, root: _Wants, branches: int) -> int:
        """Close the gap as far as ``branches`` go; return the bound proved."""
        open_ = [_Branch(root.bound, {}, root)]
        while open_ and branches > 0:
            open_.sort(key=lambda b: -b.bound)
            here = open_.pop()
            assert self.best is not None
            if here.bound >= self.best.total:
                return self.best.total
            quarrels = here.wants.quarrels
            if not quarrels:  # the optimum of this branch, and it has been priced
                continue
            t, i, wished, _ = quarrels[0]
            ways = range(LOST, len(self.scene.ways[t][i].ways))
            for shut in ([k for k in ways if k != wished], [wished]):
                closed = here.closed | {(t, i, k): _NEVER for k in shut}
                wants = self.bargain(here.wants.offers, closed, _BRANCH_ROUNDS)
                bound = max(here.bound, wants.bound)
                if bound < self.best.total:
                    open_.append(_Branch(bound, closed, wants))
                branches -= 1
        assert self.best is not None
        return min((b.bound for b in open_), default=self.best.total)


def plan(scene: Scene, player: Player, prices: Mapping[str, int],
         pins: Mapping[int, tuple[int, ...]] | None = None,
         trace: list[tuple[int, int, int]] | None = None, prove: bool = True,
         recall: Recall | None = None) -> Plan:
    """Solve a piece. ``trace`` collects (bound, best total, quarrels) of every round.

    ``prove``: raise the bound when no better plan comes any more. ``recall``: of earlier plans of
    nearly the same piece, for the same player and prices.
    """
    table = _Table(scene, player, prices, pins, recall)
    universe = scene.universe
    root = table.bargain(table.shares(), {}, universe.rounds,
                         universe.proof // max(1, len(scene.parts)), prove)
    if table.best is None:  # nothing met can be played: leave out all that may come too fast
        table.keep(table.price(tuple(
            tuple(LOST if fast else way for way, fast in zip(row, losable, strict=True))
            for row, losable in zip(root.pedals, table.hands.losable, strict=True))))
    assert table.best is not None
    bound = root.bound
    if bound < table.best.total:
        bound = table.branch(root, universe.branches)
    if trace is not None:
        trace += table.trace
    best = table.worth()
    assert best is not None
    return replace(best, bound=bound)


def _even(pace: float) -> float:
    """The pace in steps of a factor of 1.4, so that far places hardly ever change each other's."""
    return float(2.0 ** (round(2 * log2(pace)) / 2)) if pace > 0 else 0.0


def _written(note: Ways) -> int:
    """The way a note is written: it costs nothing, or the least."""
    return min(range(len(note.ways)), key=lambda k: note.ways[k].price, default=LOST)


def _quarrels(pedals: NoteWays, hands: NoteWays) -> tuple[Quarrel, ...]:
    """Notes on which the sides disagree."""
    return tuple((t, i, x, y) for t, (a, b) in enumerate(zip(pedals, hands, strict=True)) if a != b
                 for i, (x, y) in enumerate(zip(a, b, strict=True)) if x != y)


def _for_hands(offers: Offers, closed: Offers) -> Mapping[int, Mapping[tuple[int, int], int]]:
    found: dict[int, dict[tuple[int, int], int]] = defaultdict(dict)
    for (t, i, way), price in offers.items():
        found[t][i, way] = -price
    for (t, i, way), price in closed.items():
        found[t][i, way] = found[t].get((i, way), 0) + price
    return found


def _priced(row: Sequence[Ways], extra: Mapping[tuple[int, int], int]) -> tuple[Ways, ...]:
    """Notes of a slice with these prices added to those of their ways."""
    return tuple(replace(note, drop=note.drop + extra.get((i, LOST), 0), ways=tuple(
        Way(w.pitch, w.price + extra.get((i, k), 0)) for k, w in enumerate(note.ways)))
        for i, note in enumerate(row))


def _named(scene: Scene, ways: NoteWays) -> tuple[tuple[Way | None, ...], ...]:
    """The way of every note, from its index."""
    return tuple(tuple(None if way == LOST else note.ways[way]
                       for note, way in zip(notes, row, strict=True))
                 for notes, row in zip(scene.ways, ways, strict=True))


def _taken(scene: Scene, path: PedalPath) -> NoteWays:
    """Index of the taken way of every note."""
    return tuple(tuple(LOST if w is None else next(
        k for k, o in enumerate(note.ways) if o.pitch == w.pitch)
        for note, w in zip(ways, taken, strict=True))
        for ways, taken in zip(scene.ways, path.taken, strict=True))
