"""The hands' side of a plan: what both hands can do at every slice, and their cheapest path."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from arranger.model.pins import Pin
from arranger.plan.grip_costs import GripCosts
from arranger.plan.hand_options import Tone
from arranger.plan.pedal_path import Ways
from arranger.plan.pinned import pinned_choices
from arranger.plan.slices import Slice
from arranger.plan.universe import LOST, Choice, Choices, patterns
from arranger.rulebook.players import Player
from arranger.rulebook.universe import Universe, load_universe
from arranger.search.two_hands import INFINITE, PairSearch, Step

#: Price, for hands that should follow given ways, of leaving a note out or of another way.
_LOSING, _PARTING = 1 << 12, 1 << 14
_EPS = 1e-6
_NOTHING: Mapping[tuple[int, int], int] = {}


@dataclass(frozen=True, slots=True)
class Scene:
    """What is to be planned, slice by slice.

    ``ways``, ``ends``: of every note, graces included, as for ``pedal_path``; ``tones``: of the
    notes that hands place (None for graces); ``places``: strings to which an octave may move;
    ``pins``: what was decided beforehand of every note (none: of no note).
    """

    parts: tuple[Slice, ...]
    ways: tuple[tuple[Ways, ...], ...]
    ends: tuple[tuple[float, ...], ...]
    tones: tuple[tuple[Tone | None, ...], ...]
    places: frozenset[int]
    pins: tuple[tuple[Pin, ...], ...] = ()
    universe: Universe = field(default_factory=load_universe)


Offers = Mapping[int, Mapping[tuple[int, int], int]]


@dataclass(frozen=True, slots=True)
class HandWork:
    """What the hands do at every slice, what they hold after it, and what is paid up to there.

    Hand work that holds the same after a slice may be crossed there.
    """

    picked: tuple[Choice, ...]
    stands: tuple[object, ...]
    costs: tuple[int, ...]


class HandSearch:
    """Options of every slice, and their search under offers.

    ``base``: the ways to start from; ``kept``: ways that are options too, whatever they cost.
    """

    def __init__(self, scene: Scene, base: Sequence[Sequence[int]], player: Player,
                 prices: Mapping[str, int], kept: Sequence[Sequence[int]] = ()) -> None:
        costs = GripCosts(player, prices)
        self._placed = [[i for i, t in enumerate(row) if t is not None] for row in scene.tones]
        self._slots: list[_Slot] = []
        self._offered = PairSearch(costs, costs.horizon)  # one each: what was found is kept
        self._followed = PairSearch(costs, costs.horizon)
        made = Choices(player, prices, scene.places, scene.universe)
        self.touchy, self.losable = _touchy(scene, base, player)
        for part, tones, ways, way, keep, lose, touch, placed in zip(
                scene.parts, scene.tones, scene.ways, base, kept or base, self.losable, self.touchy,
                self._placed, strict=True):
            mine = [ways[i] for i in placed]
            held = [t for t in tones if t is not None]
            rows = patterns(mine, [way[i] for i in placed],
                            [touch[i] for i in placed], [lose[i] for i in placed],
                            scene.universe)
            also = tuple(keep[i] for i in placed)
            rows += () if also in rows else (also,)
            options = [c for p in rows for c in made.of(held, mine, p)]
            if scene.pins:
                pins = [scene.pins[len(self._slots)][i] for i in placed]
                options = list(pinned_choices(options, mine, pins,
                                              [part.notes[i].rolled for i in placed],
                                              prices["roll"]))
            options = _cheapest(options, scene.universe.choices)
            options = [replace(c, octaves=tuple((placed[i], p) for i, p in c.octaves))
                       if c.octaves else c for c in options]
            self._slots.append(_Slot(part.seconds, placed, [w.drop for w in ways], options, costs))

    def ways(self, at: int, choice: Choice, base: Sequence[int]) -> tuple[int, ...]:
        """Ways of all notes of a slice, graces as in ``base``."""
        whole = list(base)
        for i, way in zip(self._placed[at], choice.ways, strict=True):
            whole[i] = way
        return tuple(whole)

    def solve(self, offers: Offers) -> tuple[int, tuple[Choice, ...]]:
        """Cheapest hands; ``offers``: by slice, what a way of a note costs besides."""
        return self._cheapest(self._offered, [slot.offered(offers.get(at, _NOTHING))
                                              for at, slot in enumerate(self._slots)])

    def follow(self, ways: Sequence[Sequence[int]]) -> HandWork:
        """Cheapest hands that follow these ways wherever they can."""
        strays = [slot.straying(row) for slot, row in zip(self._slots, ways, strict=True)]
        _, picked = self._cheapest(self._followed, strays)
        stands, costs, strayed = [], [], 0
        for slot, stray, choice, (stand, cost) in zip(self._slots, strays, picked,
                                                      self._followed.trail(), strict=True):
            strayed += slot.paid(stray, choice)
            stands.append(stand)
            costs.append(cost - strayed)
        return HandWork(picked, tuple(stands), tuple(costs))

    def _cheapest(self, search: PairSearch,
                  keys: Sequence[tuple[int, ...]]) -> tuple[int, tuple[Choice, ...]]:
        total, path = search.cheapest([slot.step(key) for slot, key in zip(
            self._slots, keys, strict=True)])
        assert total < INFINITE  # a hand may always rest
        return total, tuple(slot.choice(key, pair)
                            for slot, key, pair in zip(self._slots, keys, path, strict=True))


class _Slot:
    """The options of one slice as the search wants them; a step is kept while nothing changes."""

    def __init__(self, time: float, placed: Sequence[int], drops: Sequence[int],
                 options: Sequence[Choice], costs: GripCosts) -> None:
        self._time = time
        self._drops = drops
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
        self._steps: dict[tuple[int, ...], tuple[Step, npt.NDArray[np.int64]]] = {}
        self._strays: dict[tuple[int, ...], tuple[int, ...]] = {}

    def step(self, key: tuple[int, ...]) -> Step:
        """The options with ``key`` added to their prices, by pattern; INFINITE closes some."""
        if key not in self._steps:
            extra = np.array(key, dtype=np.int64)[self._cells[:, 2]]
            rows = np.nonzero(extra < INFINITE)[0]
            price = self._cells[rows, 3] + extra[rows]
            order = np.lexsort((-rows, -price))
            cells = self._cells[rows[order]]
            left, right = cells[:, 0], cells[:, 1]
            grips = self._grips
            if len(rows) < len(self._cells):
                (ours, left), (theirs, right) = (_renumbered(grips[0], left),
                                                 _renumbered(grips[1], right))
                grips = ours, theirs
            shape = (len(grips[0]) + 1, len(grips[1]) + 1)
            table = np.full(shape, INFINITE, dtype=np.int32)
            table[left, right] = price[order]
            index = np.zeros(shape, dtype=np.int64)
            index[left, right] = rows[order]
            self._steps[key] = Step(self._time, grips, table), index
        return self._steps[key][0]

    def offered(self, offers: Mapping[tuple[int, int], int]) -> tuple[int, ...]:
        """What each pattern costs besides."""
        if not offers:
            return (0,) * len(self._ways)
        return tuple(sum(offers.get((i, w), 0) for i, w in zip(self._placed, ways, strict=True))
                     for ways in self._ways)

    def straying(self, row: Sequence[int]) -> tuple[int, ...]:
        """What each pattern costs where these ways should be followed.

        INFINITE: it takes another way, and the hands can do better by losing notes at most.
        """
        key = tuple(row[i] for i in self._placed)
        if key not in self._strays:
            strays = [sum(_LOSING + self._drops[i] if w == LOST else _PARTING
                          for i, w, wanted in zip(self._placed, ways, key, strict=True)
                          if wanted != w) for ways in self._ways]
            if 0 in strays:
                strays = [INFINITE if any(w not in (LOST, wanted) for w, wanted in zip(
                    ways, key, strict=True)) else s for s, ways in zip(strays, self._ways,
                                                                       strict=True)]
            self._strays[key] = tuple(strays)
        return self._strays[key]

    def paid(self, key: tuple[int, ...], choice: Choice) -> int:
        """The part of ``key`` that this choice has paid."""
        return key[self._ways[choice.ways]]

    def choice(self, key: tuple[int, ...], pair: tuple[int, int]) -> Choice:
        """The option a step of this key means by a pair of grips."""
        return self._options[int(self._steps[key][1][pair])]


def _renumbered(grips: npt.NDArray[np.int64], used: npt.NDArray[np.int64],
                ) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """The grips that are used (-1: none), and their numbers among these."""
    kept, number = np.unique(used, return_inverse=True)
    rest = int(len(kept) > 0 and kept[0] < 0)
    return grips[kept[rest:]], number - rest


def _cheapest(options: Sequence[Choice], most: int) -> list[Choice]:
    """The cheapest options in their order, and the cheapest of every pattern."""
    if len(options) <= most:
        return list(options)
    ranked = sorted(range(len(options)), key=lambda k: (options[k].price, k))
    kept = set(ranked[:most])
    kept |= set({options[k].ways: k for k in reversed(ranked)}.values())
    return [options[k] for k in sorted(kept)]


def _touchy(scene: Scene, base: Sequence[Sequence[int]], player: Player,
            ) -> tuple[list[list[bool]], list[list[bool]]]:
    """Notes whose string matters to the hands, and notes for which there may be no time at all.

    The first have their string, or its neighbour, struck close by; the second cannot be plucked
    as fast as their string comes back.
    """
    whole = not scene.universe.touchy_only
    touchy = [[whole and t is not None for t in row] for row in scene.tones]
    losable = [list(row) for row in touchy]
    lead, free = player.placing_lead_seconds, player.restrike_free_seconds
    longest = max(lead, free)
    last: dict[int, list[tuple[float, int, int]]] = defaultdict(list)
    for t, (part, row) in enumerate(zip(scene.parts, base, strict=True)):
        for i, way in enumerate(row):
            if way == LOST or scene.tones[t][i] is None:
                continue
            place = scene.ways[t][i].ways[way].pitch.position
            for beside, near in ((-1, lead), (1, lead), (0, free)):
                recent = last[place + beside]
                while recent and part.seconds - recent[0][0] > longest:
                    recent.pop(0)
                for time, u, j in recent:
                    if part.seconds - time < near - _EPS:
                        touchy[t][i] = touchy[u][j] = True
                    if not beside and 0 < part.seconds - time < (
                            player.restrike_error_seconds - _EPS):
                        losable[t][i] = losable[u][j] = True
            last[place].append((part.seconds, t, i))
    return touchy, losable
