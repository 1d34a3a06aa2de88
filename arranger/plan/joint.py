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
from functools import partial
from typing import Any, Protocol, TypeVar

from arranger.model.harp import PEDALS
from arranger.plan.bargain import Deal, Offers, Wants, quarrels
from arranger.plan.foot_work import FootWork, Wanted
from arranger.plan.hand_search import HandSearch, Scene
from arranger.plan.ornaments import Wish
from arranger.plan.pedal_path import PedalPath, PedalSearch, Way, Ways
from arranger.plan.recall import Recall
from arranger.plan.universe import LOST
from arranger.plan.whole import Moment, NoteWays, Plan, crossed
from arranger.rulebook.players import Player
from arranger.search.two_hands import PairSearch

#: Price of a way that is not to be taken.
_NEVER = 1 << 22
#: Price of another way than the written one, where what is written should stay if it can.
_DEAR = 1 << 12
#: Of a gap wider than one part in so many, some comes from plans that are not good enough.
_WIDE = 15
#: Pairs of grips weighed in all rounds of a proof, about; thick and quick music has many.
_WORK = 1 << 25
#: Rounds of bargaining in a branch.
_BRANCH_ROUNDS = 6

class _Knowing(Protocol):
    """A search that can start from what another one of its kind knows."""

    def knowing(self, other: Any) -> Any:
        """Return this search, with what the other knows."""


S = TypeVar("S", bound=_Knowing)


@dataclass(frozen=True, slots=True)
class _Branch:
    """Ways that are closed to both sides, where bargaining ended, and the bound."""

    bound: int
    closed: Offers
    wants: Wants


@dataclass(frozen=True, slots=True)
class _Given:
    """The ways that the notes of a slice are given: what they ask of the pedals and cost."""

    taken: tuple[Way | None, ...]
    wanted: Wanted
    cost: int


class _Table:
    """Both sides at one table: they are asked under offers, and plans are priced whole."""

    def __init__(self, scene: Scene, player: Player, prices: Mapping[str, int],
                 pins: Mapping[int, tuple[int, ...]] | None, recall: Recall,
                 wishes: Sequence[Sequence[Wish]]) -> None:
        self.scene = scene
        self.best: Plan | None = None
        self.trace: list[tuple[int, int, int]] = []
        self._recall = recall
        self._turns: Counter[str] = Counter()
        self._wider = False
        self._last: dict[str, Any] = {}
        self._pedals = PedalSearch(scene.parts, scene.ways, scene.ends, player, prices, pins,
                                   recall=recall, wishes=wishes)
        self._foot_work = self._pedals.given()
        self._given: dict[tuple[int, tuple[int, ...]], _Given] = {}
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
        self._last[kind] = fresh.knowing(self._recall.find(name) or self._last.get(kind))
        self._recall.keep(name, self._last[kind])
        found: S = self._last[kind]
        return found

    def affordable(self, rounds: int) -> int:
        """So many rounds of bargaining, or as many as are not too much to weigh."""
        hands: PairSearch = self._last["offered"]
        return min(rounds, _WORK // max(1, hands.size))

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

    def ask(self, offers: Offers, closed: Offers, learning: bool = False) -> Wants:
        """Solve both sides on their own.

        ``learning``: the hands are then offered whatever strings the pedals want.
        """
        path = self._next("asked", self._pedals).cheapest(self._dearer(offers, closed))
        wish = _taken(self.scene, path)
        if learning:
            self._learn(wish)
        wider, self._wider = self._wider, False
        total, picked = self.hands.solve(_for_hands(offers, closed),
                                         self._next("offered", self.hands.search))
        want = tuple(self.hands.ways(at, c, wish[at]) for at, c in enumerate(picked))
        return Wants(path.total + total, offers, wish, want, quarrels(wish, want), wider)

    def _learn(self, ways: NoteWays) -> None:
        """Offer the hands these ways; bounds found before may then hold no more."""
        self._wider |= self.hands.learn(ways)

    def _as_written(self) -> NoteWays:
        """The written strings, wherever the pedals give them."""
        written = tuple(tuple(map(_written, row)) for row in self.scene.ways)
        if self._feet(self._all_given(written)):
            return written
        return self.settled({(t, i, k): _DEAR for t, row in enumerate(self.scene.ways)
                             for i, note in enumerate(row) for k in range(len(note.ways))
                             if k != written[t][i]})

    def settled(self, dear: Offers) -> NoteWays:
        """What the pedals would do on their own if these ways were so much dearer."""
        search = self._next("settled", self._pedals)
        return _taken(self.scene, search.cheapest(self._dearer(dear)))

    def between(self, wants: Wants) -> NoteWays:
        """What the pedals would do at full price if the hands had their way in what is too fast."""
        return self.settled({(t, i, k): _NEVER for t, losable in enumerate(self.hands.losable)
                             for i, fast in enumerate(losable) if fast
                             for k in range(LOST, len(self.scene.ways[t][i].ways))
                             if k != wants.hands[t][i]})

    def price(self, ways: NoteWays) -> Plan | None:
        """The best plan in which every note goes its given way, if feet can."""
        work = self.hands.follow(ways, self._next("followed", self.hands.search))
        ways = tuple(self.hands.ways(at, c, w) for at, (c, w) in enumerate(
            zip(work.picked, ways, strict=True)))
        given = self._all_given(ways)
        feet = self._feet(given)
        if feet is None:
            return None
        stands = [(a, b) if a is not None else None
                  for a, b in zip(feet.stands, work.stands, strict=True)]
        return Plan(tuple(map(Moment, ways, (g.taken for g in given), work.picked, feet.states,
                              stands, (g.cost for g in given), feet.costs, work.costs)))

    def _all_given(self, ways: NoteWays) -> list[_Given]:
        """What these ways come to, slice by slice."""
        found = []
        for key in enumerate(ways):
            given = self._given.get(key)
            if given is None:
                given = self._given[key] = _given(self.scene.ways[key[0]], key[1])
            found.append(given)
        return found

    def _feet(self, given: Sequence[_Given]) -> FootWork | None:
        """Cheapest foot work for these ways, if there is any."""
        return self._next("feet", self._foot_work).cheapest([g.wanted for g in given])

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
            row = rows[t]  # kept with what is made of it, so that its id stays its own
            rows[t] = self._recall.get(("priced", id(row), frozenset(extra.items())), partial(
                _priced, row, extra))[0]
        return rows

    def seek(self, deal: Deal, rounds: int, further: int = 0) -> None:
        """Bargain while plans get better, and price what either side wants as a plan.

        Where the bound is far off, ``further`` rounds at most follow, in which that is tried now
        and then.
        """
        universe = self.scene.universe
        idle = 0
        for turn in range(rounds):
            learning = not deal.closed
            wants = self.ask(deal.offers, deal.closed, learning)
            if idle < universe.patience or turn % 3 == 0 or not wants.quarrels:
                idle = 0 if self._try(wants, turn, learning) else idle + 1
            else:
                further -= 1
            settled = self._hear(deal, wants)
            further = self.affordable(further)
            wide = self.best is None or (self.best.total - deal.bound) * _WIDE > self.best.total
            if settled or (idle >= universe.patience and not (further > 0 and wide)):
                break
        if self._wider:
            self._hear(deal, self.ask(deal.offers, deal.closed))

    def proved(self, deal: Deal, rounds: int) -> int:
        """Raise the bound as far as some rounds go, a few a branch in the end; the plan stays."""
        rounds = self.affordable(rounds)
        spent = self._insist(deal, rounds)
        return self.branch(deal.wants, (rounds - spent) // _BRANCH_ROUNDS, quietly=True)

    def _insist(self, deal: Deal, rounds: int) -> int:
        """Raise the bound alone; return how many rounds that took."""
        for turn in range(rounds):
            if deal.tired or self._hear(deal, self.ask(deal.offers, deal.closed)):
                return turn
        return rounds

    def _hear(self, deal: Deal, wants: Wants) -> bool:
        """Make the next offers of a deal, if there is more to say; tell whether it is settled."""
        deal.heard(wants)
        top = self.best.total if self.best else deal.bound + 100
        self.trace.append((deal.bound, top, len(wants.quarrels)))
        settled = not wants.quarrels or (top - deal.bound) * self.scene.universe.near <= top
        if not settled:
            deal.offer(wants, top, self.scene.ways)
        return settled

    def _try(self, wants: Wants, turn: int, learning: bool) -> bool:
        """Price what the sides want; tell whether that brought anything worth another round."""
        before = self.worth()
        self.keep(self.price(wants.hands if turn % 2 else wants.pedals))
        if wants.quarrels:
            between = self.between(wants)
            if learning:
                self._learn(between)
            self.keep(self.price(between))
        after = self.worth()
        return before is None or (after is not None and (
            before.total - after.total) * self.scene.universe.gain > before.total)

    def branch(self, root: Wants, branches: int, quietly: bool = False) -> int:
        """Close the gap as far as ``branches`` go; return the bound proved.

        ``quietly``: by raising the bound alone, so that the plan stays what it is.
        """
        open_ = [_Branch(root.bound, {}, root)]
        ended: list[int] = []  # bounds of branches whose optimum is known
        while open_ and branches > 0:
            open_.sort(key=lambda b: -b.bound)
            here = open_.pop()
            assert self.best is not None
            if here.bound >= self.best.total:
                return min((self.best.total, *ended, here.bound))
            quarrels = here.wants.quarrels
            if not quarrels:
                ended.append(here.bound)
                continue
            t, i, wished, _ = quarrels[0]
            ways = range(LOST, len(self.scene.ways[t][i].ways))
            for shut in ([k for k in ways if k != wished], [wished]):
                deal = Deal(here.wants.offers, here.closed | {(t, i, k): _NEVER for k in shut})
                if quietly:
                    self._insist(deal, _BRANCH_ROUNDS)
                else:
                    self.seek(deal, _BRANCH_ROUNDS)
                bound = max(here.bound, deal.bound)
                if bound < self.best.total:
                    open_.append(_Branch(bound, deal.closed, deal.wants))
                branches -= 1
        assert self.best is not None
        return min((self.best.total, *ended, *(b.bound for b in open_)))


def plan(scene: Scene, player: Player, prices: Mapping[str, int],
         pins: Mapping[int, tuple[int, ...]] | None = None,
         trace: list[tuple[int, int, int]] | None = None, prove: int = 1,
         recall: Recall | None = None, wishes: Sequence[Sequence[Wish]] = ()) -> Plan:
    """Solve a piece. ``trace`` collects (bound, best total, quarrels) of every round.

    ``prove``: how much work, in shares of the usual, goes into raising the bound when no better
    plan comes any more; the plan is the same whatever it is. ``recall``: of earlier plans of
    nearly the same piece, for the same player and prices. ``wishes``: what ornaments ask of the
    pedals at each slice.
    """
    table = _Table(scene, player, prices, pins, recall or Recall(searches=False), wishes)
    universe = scene.universe
    further = universe.proof // max(1, len(scene.parts))
    deal = Deal(table.shares(), {})
    table.seek(deal, universe.rounds, further)
    if table.best is None:  # nothing met can be played: leave out all that may come too fast
        table.keep(table.price(tuple(
            tuple(LOST if fast else way for way, fast in zip(row, losable, strict=True))
            for row, losable in zip(deal.wants.pedals, table.hands.losable, strict=True))))
    assert table.best is not None
    bound = deal.bound
    if universe.branches and bound < table.best.total:
        bound = table.branch(deal.wants, universe.branches)
    elif prove and bound < table.best.total:
        bound = table.proved(deal, prove * further)
    if trace is not None:
        trace += table.trace
    best = table.worth()
    assert best is not None
    return replace(best, bound=bound, stays=best.total - table.best.total)


def _written(note: Ways) -> int:
    """The way a note is written: it costs nothing, or the least."""
    return min(range(len(note.ways)), key=lambda k: note.ways[k].price, default=LOST)


def _for_hands(offers: Offers, closed: Offers) -> Mapping[int, Mapping[tuple[int, int], int]]:
    found: dict[int, dict[tuple[int, int], int]] = defaultdict(dict)
    for (t, i, way), price in offers.items():
        found[t][i, way] = -price
    for (t, i, way), price in closed.items():
        found[t][i, way] = found[t].get((i, way), 0) + price
    return found


def _priced(row: tuple[Ways, ...], extra: Mapping[tuple[int, int], int],
            ) -> tuple[tuple[Ways, ...], tuple[Ways, ...]]:
    """Notes of a slice with these prices added to those of their ways, and the row it was."""
    return tuple(replace(note, drop=note.drop + extra.get((i, LOST), 0), ways=tuple(
        Way(w.pitch, w.price + extra.get((i, k), 0)) for k, w in enumerate(note.ways)))
        for i, note in enumerate(row)), row


def _given(notes: Sequence[Ways], row: Sequence[int]) -> _Given:
    """What the ways of a slice come to, from their indices."""
    taken = tuple(None if way == LOST else note.ways[way]
                  for note, way in zip(notes, row, strict=True))
    return _Given(taken, frozenset((PEDALS.index(way.pitch.step), way.pitch.alter + 1)
                                   for note, way in zip(notes, taken, strict=True)
                                   if way is not None and not note.free),
                  sum(note.drop if way is None else way.price
                      for note, way in zip(notes, taken, strict=True)))


def _taken(scene: Scene, path: PedalPath) -> NoteWays:
    """Index of the taken way of every note; prices apart it is one of the scene's."""
    return tuple(tuple(LOST if w is None else next(
        k for k, o in enumerate(note.ways) if o.pitch is w.pitch)
        for note, w in zip(ways, taken, strict=True))
        for ways, taken in zip(scene.ways, path.taken, strict=True))
