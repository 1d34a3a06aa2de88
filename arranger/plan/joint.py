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
from itertools import count
from math import inf
from typing import Any, Protocol, TypeVar

from arranger.plan.bargain import Deal, Wants, quarrels
from arranger.plan.foot_work import FootWork
from arranger.plan.hand_search import HandSearch, Scene
from arranger.plan.ornaments import Wish
from arranger.plan.pedal_path import PedalPath, PedalSearch, Ways
from arranger.plan.recall import Recall
from arranger.plan.universe import LOST, NOTHING, NOWHERE, Extra, Offers
from arranger.plan.way_rows import Given, both, chosen, dearer, given_ways, written_way
from arranger.plan.whole import Moment, NoteWays, Plan, Start, crossed
from arranger.rulebook.players import Player

#: Price of a way that is not to be taken.
_NEVER = 1 << 22
#: Price of another way than the written one, where what is written should stay if it can.
_DEAR = 1 << 12
#: Of a gap wider than one part in so many, some comes from plans that are not good enough.
_WIDE = 15
#: Pairs of grips weighed in all rounds of a proof, about; thick and quick music has many.
_WORK = 1 << 26
#: Slices weighed anew where one changes, and the share of the time of weighing a slice in which it
#: is found to be as it was (about, measured on ten scores).
_SPREAD, _KNOWN = 10, 0.125
#: Plans, and wishes of the pedals, kept for when they are asked for again.
_AGAIN = 4
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
        self._proving = False
        self._taking = True
        self._wider = False
        self.spent = 0.0  # on questions, in shares of a usual proof
        self._last: dict[str, Any] = {}
        self._pedals = PedalSearch(scene.parts, scene.ways, scene.ends, player, prices, pins,
                                   recall=recall, wishes=wishes)
        self._foot_work = self._pedals.given()
        self._priced: dict[int, tuple[Extra, Extra, tuple[Ways, ...]]] = {}
        self._known: list[tuple[object, tuple[int, ...]]] = []
        self._given: dict[tuple[int, tuple[int, ...]], Given] = {}
        self._plans: dict[NoteWays, Plan | None] = {}
        self._settled: dict[tuple[tuple[int, frozenset[object]], ...], NoteWays] = {}
        self.base = self._chosen(self._next("asked", self._pedals).cheapest(scene.ways))
        kept = self._as_written()
        self.hands = HandSearch(scene, self.base, player, prices, kept, recall)
        self.written = self.price(kept)
        self.keep(self.written)

    def _next(self, kind: str, fresh: S) -> S:
        """The search for the next question of its kind.

        It starts from its counterpart in an earlier plan of the piece, or the search before it.
        """
        name = kind, self._turns[kind]
        self._turns[kind] += 1
        self._last[kind] = fresh.knowing(self._recall.find(name) or self._last.get(kind))
        if not self._proving:  # there the last question is as near
            self._recall.keep(name, self._last[kind])
        found: S = self._last[kind]
        return found

    def _work(self, changed: int) -> float:
        """What a question takes where so many slices change, as a share of a usual proof."""
        slices, pairs = len(self.scene.parts), int(self._last["offered"].size)
        anew = min(1.0, _KNOWN + _SPREAD * changed / slices)
        return anew * max(slices / self.scene.universe.proof, pairs / _WORK)

    def shares(self) -> Offers:
        """Start: the hands pay half of what a way costs, so that they do not part for nothing."""
        found: dict[int, dict[tuple[int, int], int]] = defaultdict(dict)
        for t, row in enumerate(self.scene.ways):
            for i, note in enumerate(row):
                if self.hands.touchy[t][i] and len(note.ways) > 1:
                    found[t] |= {(i, k): -(w.price // 2) for k, w in enumerate(note.ways)
                                 if w.price}
                if self.hands.losable[t][i]:
                    found[t][i, LOST] = -(note.drop // 2)
        return dict(found)

    def ask(self, offers: Offers, closed: Offers, learning: bool = False) -> Wants:
        """Solve both sides on their own.

        ``learning``: the hands are then offered whatever strings the pedals want.
        """
        path = self._next("asked", self._pedals).cheapest(self._dearer(offers, closed))
        wish = self._chosen(path)
        if learning:
            self._learn(wish)
        wider, self._wider = self._wider, False
        total, picked = self.hands.solve(closed, self._next("offered", self.hands.search), offers)
        want = tuple(self.hands.ways(at, c, wish[at]) for at, c in enumerate(picked))
        parted = quarrels(wish, want)
        self.spent += self._work(len({t for t, *_ in parted}))
        return Wants(path.total + total, offers, wish, want, parted, wider)

    def _chosen(self, path: PedalPath) -> NoteWays:
        """Index of the way of every note; rows that are the same objects are known again."""
        known = self._known or [(None, ())] * len(path.taken)
        self._known = [old if old[0] is taken else (taken, chosen(notes, taken))
                       for notes, taken, old in zip(self.scene.ways, path.taken, known,
                                                    strict=True)]
        return tuple(row for _, row in self._known)

    def _learn(self, ways: NoteWays) -> None:
        """Offer the hands these ways; bounds found before may then hold no more."""
        if self.hands.learn(ways):
            self._wider = True
            self._plans.clear()

    def _as_written(self) -> NoteWays:
        """The written strings, wherever the pedals give them."""
        written = tuple(tuple(map(written_way, row)) for row in self.scene.ways)
        if self._feet(self._all_given(written)):
            return written
        return self.settled({t: {(i, k): _DEAR for i, note in enumerate(row)
                                 for k in range(len(note.ways)) if k != written[t][i]}
                             for t, row in enumerate(self.scene.ways)})

    def settled(self, dear: Offers) -> NoteWays:
        """What the pedals would do on their own if these ways were so much dearer."""
        asked = tuple((t, frozenset[object](extra.items())) for t, extra in dear.items())
        if asked not in self._settled:
            _make_room(self._settled)
            search = self._next("settled", self._pedals)
            self._settled[asked] = self._chosen(search.cheapest(self._dearer(dear)))
        return self._settled[asked]

    def between(self, wants: Wants) -> NoteWays:
        """What the pedals would do at full price if the hands had their way in what is too fast."""
        return self.settled({t: {(i, k): _NEVER for i, fast in enumerate(losable) if fast
                                 for k in range(LOST, len(self.scene.ways[t][i].ways))
                                 if k != wants.hands[t][i]}
                             for t, losable in enumerate(self.hands.losable) if any(losable)})

    def price(self, ways: NoteWays) -> Plan | None:
        """The best plan in which every note goes its given way, if feet can."""
        if ways not in self._plans:
            _make_room(self._plans)
            self._plans[ways] = self._price(ways)
        return self._plans[ways]

    def _price(self, ways: NoteWays) -> Plan | None:
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

    def _all_given(self, ways: NoteWays) -> list[Given]:
        """What these ways come to, slice by slice."""
        found = []
        for key in enumerate(ways):
            given = self._given.get(key)
            if given is None:
                given = self._given[key] = given_ways(self.scene.ways[key[0]], key[1])
            found.append(given)
        return found

    def _feet(self, given: Sequence[Given]) -> FootWork | None:
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

    def _dearer(self, offers: Offers, closed: Offers = NOWHERE) -> list[tuple[Ways, ...]]:
        """Ways with these prices added to theirs; what is asked again is the same row."""
        rows = list(self.scene.ways)
        for t in offers.keys() | closed.keys():
            asked = offers.get(t, NOTHING), closed.get(t, NOTHING)
            known = self._priced.get(t)
            if known is None or known[0] is not asked[0] or known[1] is not asked[1]:
                row, extra = rows[t], both(*asked)  # the row kept too, so that its id stays its own
                priced = self._recall.lasting(("priced", id(row), frozenset(extra.items())),
                                              partial(dearer, row, extra))[0]
                known = self._priced[t] = (*asked, priced)
            rows[t] = known[2]
        return rows

    def seek(self, deal: Deal, rounds: int, further: float = 0.0) -> None:
        """Bargain while plans get better, and price what either side wants as a plan.

        Where the bound is far off, so much work follows, at most, and a plan is tried now and
        then.
        """
        universe = self.scene.universe
        idle, until = 0, inf
        for turn in range(rounds):
            learning = not deal.closed
            wants = self.ask(deal.offers, deal.closed, learning)
            if idle < universe.patience or turn % 3 == 0 or not wants.quarrels:
                idle = 0 if self._try(wants, turn, learning) else idle + 1
            if self._hear(deal, wants):
                break
            if idle >= universe.patience:
                until = min(until, self.spent + further)
                wide = self.best is None or (
                    self.best.total - deal.bound) * _WIDE > self.best.total
                if not wide or self.spent >= until:
                    break
        if self._wider:
            self._hear(deal, self.ask(deal.offers, deal.closed))

    def proved(self, deal: Deal, work: float, taking: bool) -> int:
        """Raise the bound as far as so much work goes, in the end by branches.

        ``taking``: where both sides agree, that plan is taken.
        """
        until, self._proving, self._taking = self.spent + work, True, taking
        self._insist(deal, until)
        return self.branch(deal.wants, until=until)

    def _insist(self, deal: Deal, until: float, rounds: int | None = None) -> None:
        """Raise the bound while the work spent is less than ``until``; agreement is a plan."""
        for _ in range(rounds) if rounds else count():
            wants = self.ask(deal.offers, deal.closed)
            if not wants.quarrels and self._taking:
                self.keep(self.price(wants.pedals))
            if self._hear(deal, wants) or deal.tired or self.spent >= until:
                return

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

    def branch(self, root: Wants, branches: float = inf, until: float = inf) -> int:
        """Close the gap as far as ``branches`` go; return the bound proved.

        ``until``: by raising the bound alone, while the work spent is less.
        """
        open_ = [_Branch(root.bound, {}, root)]
        ended: list[int] = []  # bounds of branches whose optimum is known
        while open_ and branches > 0 and self.spent < until:
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
                deal = Deal(here.wants.offers, {**here.closed, t: {
                    **here.closed.get(t, NOTHING), **{(i, k): _NEVER for k in shut}}})
                if until < inf:
                    self._insist(deal, until, _BRANCH_ROUNDS)
                else:
                    self.seek(deal, _BRANCH_ROUNDS)
                bound = max(here.bound, deal.bound)
                if bound < self.best.total:
                    open_.append(_Branch(bound, deal.closed, deal.wants))
                branches -= 1
        assert self.best is not None
        return min((self.best.total, *ended, *(b.bound for b in open_)))


def _make_room(kept: dict[Any, Any]) -> None:
    """Forget what was kept first, where there is no room for one more."""
    if len(kept) >= _AGAIN:
        del kept[next(iter(kept))]


def plan(scene: Scene, player: Player, prices: Mapping[str, int],
         pins: Mapping[int, tuple[int, ...]] | None = None,
         trace: list[tuple[int, int, int]] | None = None, prove: int = 1,
         recall: Recall | None = None, wishes: Sequence[Sequence[Wish]] = (),
         start: Start | None = None) -> Plan:
    """Solve a piece. ``trace`` collects (bound, best total, quarrels) of every round.

    ``prove``: how much work, in shares of the usual, goes into what is left when no better plan
    comes any more, the bound most of all; where both sides agree in the end, that is the best
    plan. ``recall``: of earlier plans of nearly the same piece, for the same player and prices.
    ``wishes``: what ornaments ask of the pedals at each slice. ``start``: what is known from a plan
    of the same piece; no proof takes another plan then, so that the answer is the same with and
    without.
    """
    table = _Table(scene, player, prices, pins, recall or Recall(searches=False), wishes)
    universe = scene.universe
    deal = Deal(table.shares() if start is None else start.offers, {})
    if start is not None:
        table.keep(table.price(tuple(
            start.ways.get(t, row) for t, row in enumerate(table.base))))
    table.seek(deal, universe.rounds, prove / 2)
    if table.best is None:  # nothing met can be played: leave out all that may come too fast
        table.keep(table.price(tuple(
            tuple(LOST if fast else way for way, fast in zip(row, losable, strict=True))
            for row, losable in zip(deal.wants.pedals, table.hands.losable, strict=True))))
    assert table.best is not None
    bound = deal.bound
    if universe.branches and bound < table.best.total:
        bound = table.branch(deal.wants, universe.branches)
    elif prove and bound < table.best.total:
        bound = table.proved(deal, prove, taking=start is None)
    if trace is not None:
        trace += table.trace
    best = table.worth()
    assert best is not None
    return replace(best, bound=bound, stays=best.total - table.best.total,
                   offers=deal.wants.offers)
