"""Strings, pedals, hands and fingers together: one optimum, with a proven bound.

Two exact searches share the decisions on the notes: ``pedal_path`` (strings and pedals) and the two
hands (``search.two_hands``). A price on every way of every note, added for the one and taken off
for the other, leaves the sum of both as it is; whatever it is, the sum of their optima is a lower
bound of the joint optimum. It is raised where the two disagree (Lagrangian decomposition: Guignard
& Kim 1987, Mathematical Programming 39:215-228; steps of Polyak 1969). Where they agree the
plan is optimal; else the best plan met is kept, and ``total - bound`` is the gap.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from arranger.plan.grip_costs import HORIZON, GripCosts
from arranger.plan.hand_options import Tone
from arranger.plan.pedal_path import PedalPath, Way, Ways, pedal_path
from arranger.plan.slices import Slice
from arranger.plan.universe import LOST, Choice, choices, patterns
from arranger.rulebook.players import Player
from arranger.search.two_hands import INFINITE, PairSearch, Step

ROUNDS = 12
#: Price of a way that the plan under trial does not take.
_NEVER = 1 << 18
#: Price, for hands that should follow given ways, of leaving a note out or of another way.
_LOSING, _PARTING = 1 << 12, 1 << 14


@dataclass(frozen=True, slots=True)
class Scene:
    """What is to be planned, slice by slice.

    ``ways``, ``ends``: of every note, graces included, as for ``pedal_path``; ``tones``: of the
    notes that hands place (None for graces); ``losable``: hands may ask to leave the note out.
    """

    parts: tuple[Slice, ...]
    ways: tuple[tuple[Ways, ...], ...]
    ends: tuple[tuple[float, ...], ...]
    tones: tuple[tuple[Tone | None, ...], ...]
    losable: tuple[tuple[bool, ...], ...]
    places: frozenset[int]


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole plan: way of every note, hands at every slice, pedals, price and proven bound."""

    ways: tuple[tuple[int, ...], ...]
    hands: tuple[Choice, ...]
    pedals: PedalPath
    pedal_total: int
    hand_total: int
    bound: int

    @property
    def total(self) -> int:
        """Price of strings, notes, pedals and hands."""
        return self.pedal_total + self.hand_total


Offers = dict[tuple[int, int, int], int]


class _Hands:
    """The hands' side: options of every slice, and their search under offers."""

    def __init__(self, scene: Scene, base: Sequence[Sequence[int]], player: Player,
                 prices: Mapping[str, int]) -> None:
        costs = GripCosts(player, prices)
        self._placed = [[i for i, t in enumerate(row) if t is not None] for row in scene.tones]
        self._slots: list[_Slot] = []
        self._search = PairSearch(costs, HORIZON)
        touchy = _touchy(scene, base, player)
        for part, tones, ways, way, lose, touch, placed in zip(
                scene.parts, scene.tones, scene.ways, base, scene.losable, touchy, self._placed, strict=True):
            mine = [ways[i] for i in placed]
            held = [t for t in tones if t is not None]
            rows = patterns(mine, [way[i] for i in placed],
                            [touch[i] for i in placed], [lose[i] for i in placed])
            options = tuple(c for p in rows for c in choices(
                held, mine, p, player, prices, scene.places))
            self._slots.append(_Slot(part.seconds, placed, options, costs))

    def ways(self, at: int, choice: Choice, base: Sequence[int]) -> tuple[int, ...]:
        """Ways of all notes of a slice, graces as in ``base``."""
        whole = list(base)
        for i, way in zip(self._placed[at], choice.ways, strict=True):
            whole[i] = way
        return tuple(whole)

    def solve(self, offers: Mapping[int, Mapping[tuple[int, int], int]],
              only: Sequence[Sequence[int]] | None = None) -> tuple[int, tuple[Choice, ...]]:
        """Cheapest hands; ``offers``: by slice, what a way of a note costs besides.

        ``only``: ways the hands should follow wherever they can.
        """
        steps = [slot.step(offers.get(at, {}), only[at] if only is not None else None)
                 for at, slot in enumerate(self._slots)]
        total, path = self._search.cheapest(steps)
        if total >= INFINITE:
            return INFINITE, ()
        return total, tuple(slot.choice(pair)
                            for slot, pair in zip(self._slots, path, strict=True))


class _Slot:
    """The options of one slice as the search wants them; a step is kept while nothing changes."""

    def __init__(self, time: float, placed: Sequence[int], options: Sequence[Choice],
                 costs: GripCosts) -> None:
        self._time = time
        self._placed = placed
        self._options = options
        lefts: dict[int, int] = {}
        rights: dict[int, int] = {}
        self._ways: dict[tuple[int, ...], int] = {}
        cells = np.empty((len(options), 4), dtype=np.int64)
        for rank, choice in enumerate(options):
            left = -1 if choice.left is None else lefts.setdefault(
                costs.number(choice.left), len(lefts))
            right = -1 if choice.right is None else rights.setdefault(
                costs.number(choice.right), len(rights))
            way = self._ways.setdefault(choice.ways, len(self._ways))
            cells[rank] = left, right, way, choice.price
        self._cells = cells
        self._grips = (np.array(list(lefts), dtype=np.int64),
                       np.array(list(rights), dtype=np.int64))
        self._key: tuple[int, ...] = ()
        self._step: Step | None = None
        self._index = np.zeros((len(lefts) + 1, len(rights) + 1), dtype=np.int64)

    def step(self, offers: Mapping[tuple[int, int], int],
             only: Sequence[int] | None) -> Step:
        key = tuple(self._extra(ways, offers, only) for ways in self._ways)
        if self._step is None or key != self._key:
            self._key = key
            price = self._cells[:, 3] + np.array(key, dtype=np.int64)[self._cells[:, 2]]
            order = np.lexsort((-np.arange(len(price)), -price))
            left, right = self._cells[order, 0], self._cells[order, 1]
            table = np.full(self._index.shape, INFINITE, dtype=np.int32)
            table[left, right] = price[order]
            self._index = np.zeros(table.shape, dtype=np.int64)
            self._index[left, right] = order
            self._step = Step(self._time, self._grips, table)
        return self._step

    def _extra(self, ways: Sequence[int], offers: Mapping[tuple[int, int], int],
               only: Sequence[int] | None) -> int:
        extra = 0
        if offers:
            extra += sum(offers.get((i, w), 0) for i, w in zip(self._placed, ways, strict=True))
        if only is not None:
            extra += sum(_LOSING if w == LOST else _PARTING
                         for i, w in zip(self._placed, ways, strict=True) if only[i] != w)
        return extra

    def choice(self, pair: tuple[int, int]) -> Choice:
        return self._options[int(self._index[pair])]


def _touchy(scene: Scene, base: Sequence[Sequence[int]],
            player: Player) -> list[list[bool]]:
    """Notes whose string matters to the hands: it, or its neighbour, is struck close by."""
    found = [[False] * len(row) for row in base]
    last: dict[int, list[tuple[float, int, int]]] = defaultdict(list)
    for t, (part, row) in enumerate(zip(scene.parts, base, strict=True)):
        for i, way in enumerate(row):
            if way == LOST or scene.tones[t][i] is None:
                continue
            place = scene.ways[t][i].ways[way].pitch.position
            for beside, near in ((-1, player.placing_lead_seconds), (1, player.placing_lead_seconds),
                                 (0, player.restrike_free_seconds)):
                while last[place + beside] and part.seconds - last[place + beside][0][0] > 2.0:
                    last[place + beside].pop(0)
                for time, u, j in last[place + beside]:
                    if part.seconds - time < near - 1e-6:
                        found[t][i] = found[u][j] = True
            last[place].append((part.seconds, t, i))
    return found


def plan(scene: Scene, player: Player, prices: Mapping[str, int],
         pins: Mapping[int, tuple[int, ...]] | None = None, rounds: int = ROUNDS,
         trace: list[tuple[int, int, int]] | None = None) -> Plan:
    """Solve a piece. ``trace`` collects (bound, best total, disagreements) of every round."""
    offers = _shares(scene)
    best: Plan | None = None
    bound = -INFINITE
    hands: _Hands | None = None
    for _ in range(rounds):
        path = pedal_path(scene.parts, _offered(scene.ways, offers), scene.ends, player, prices,
                          pins)
        wish = _taken(scene, path)
        if hands is None:
            hands = _Hands(scene, wish, player, prices)
        total, picked = hands.solve(_by_slice(offers))
        want = tuple(hands.ways(at, c, wish[at]) for at, c in enumerate(picked))
        bound = max(bound, path.total + total)
        differ = [(t, i) for t, (a, b) in enumerate(zip(wish, want, strict=True))
                  for i, (x, y) in enumerate(zip(a, b, strict=True)) if x != y]
        for ways in ({wish, want} if differ else {want}):
            tried = _evaluate(scene, ways, hands, player, prices, pins)
            if tried is not None and (best is None or tried.total < best.total):
                best = tried
        if trace is not None:
            trace.append((bound, best.total if best else INFINITE, len(differ)))
        if not differ or (best is not None and best.total <= bound):
            break
        top = best.total if best else bound + 100
        step = max(1, round((top - path.total - total) / (2 * len(differ))))
        for t, i in differ:
            for way, sign in ((wish[t][i], 1), (want[t][i], -1)):
                offers[t, i, way] = offers.get((t, i, way), 0) + sign * step
    assert best is not None
    return replace(best, bound=bound)


def _shares(scene: Scene) -> Offers:
    """Start: half of what a way costs is paid by the hands, so that they do not part for nothing."""
    found: Offers = {}
    for t, (row, tones) in enumerate(zip(scene.ways, scene.tones, strict=True)):
        for i, (note, tone) in enumerate(zip(row, tones, strict=True)):
            if tone is not None and len(note.ways) > 1:
                found |= {(t, i, k): -(w.price // 2) for k, w in enumerate(note.ways) if w.price}
    return found


def _by_slice(offers: Offers) -> Mapping[int, Mapping[tuple[int, int], int]]:
    found: dict[int, dict[tuple[int, int], int]] = defaultdict(dict)
    for (t, i, way), price in offers.items():
        found[t][i, way] = -price
    return found


def _offered(ways: Sequence[Sequence[Ways]], offers: Offers) -> list[list[Ways]]:
    """Ways with the offers added to their prices."""
    rows = [list(row) for row in ways]
    for (t, i), note in {(t, i): ways[t][i] for t, i, _ in offers}.items():
        rows[t][i] = replace(
            note, ways=tuple(Way(w.pitch, w.price + offers.get((t, i, k), 0))
                             for k, w in enumerate(note.ways)),
            drop=note.drop + offers.get((t, i, LOST), 0))
    return rows


def _taken(scene: Scene, path: PedalPath) -> tuple[tuple[int, ...], ...]:
    """Index of the taken way of every note."""
    return tuple(tuple(LOST if w is None else next(
        k for k, o in enumerate(note.ways) if o.pitch == w.pitch)
        for note, w in zip(ways, taken, strict=True))
        for ways, taken in zip(scene.ways, path.taken, strict=True))


def _evaluate(scene: Scene, ways: Sequence[Sequence[int]], hands: _Hands, player: Player,
              prices: Mapping[str, int], pins: Mapping[int, tuple[int, ...]] | None) -> Plan | None:
    """The whole price of these ways, or None if hands or pedals cannot give them."""
    _, picked = hands.solve({}, ways)
    ways = tuple(hands.ways(at, c, w) for at, (c, w) in enumerate(zip(picked, ways, strict=True)))
    total = hands.solve({}, ways)[0]
    forced = [[replace(note, ways=tuple(Way(w.pitch, w.price + (_NEVER if k != way else 0))
                                        for k, w in enumerate(note.ways)),
                       drop=note.drop + (_NEVER if way != LOST else 0))
               for note, way in zip(row, mine, strict=True)]
              for row, mine in zip(scene.ways, ways, strict=True)]
    path = pedal_path(scene.parts, forced, scene.ends, player, prices, pins)
    if path.total >= _NEVER:
        return None
    return Plan(tuple(tuple(r) for r in ways), picked, path, path.total, total, 0)
