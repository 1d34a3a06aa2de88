"""The hands' side of a plan: what both hands can do at every slice, and their cheapest path."""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

from arranger.model.pins import Pin
from arranger.plan.grip_costs import IMPOSSIBLE, GripCosts
from arranger.plan.hand_options import Tone
from arranger.plan.hand_slot import Menu, Slot
from arranger.plan.pedal_path import Ways
from arranger.plan.pinned import pinned_choices
from arranger.plan.recall import Recall
from arranger.plan.slices import Slice
from arranger.plan.universe import (
    LOST,
    NOTHING,
    NOWHERE,
    Choice,
    Choices,
    Offers,
    patterns,
    with_losses,
)
from arranger.rulebook.players import Player
from arranger.rulebook.universe import Universe, load_universe
from arranger.search.board import INFINITE
from arranger.search.two_hands import PairSearch

_EPS = 1e-6

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Scene:
    """What is to be planned, slice by slice.

    ``ways``, ``ends``: of every note, graces included, as for ``pedal_path``; ``tones``: of the
    notes that hands place (None for graces); ``places``: strings to which an octave may move;
    ``pins``: what was decided beforehand of every note (none: of no note). ``wire_top``: position
    of the highest wire string; -1: there is none.
    """

    parts: tuple[Slice, ...]
    ways: tuple[tuple[Ways, ...], ...]
    ends: tuple[tuple[float, ...], ...]
    tones: tuple[tuple[Tone | None, ...], ...]
    places: frozenset[int]
    pins: tuple[tuple[Pin, ...], ...] = ()
    universe: Universe = field(default_factory=load_universe)
    wire_top: int = -1


@dataclass(frozen=True, slots=True)
class HandWork:
    """What the hands do at every slice, what they hold after it, and what is paid for it.

    Hand work that holds the same after a slice may be crossed there.
    """

    picked: tuple[Choice, ...]
    stands: tuple[object, ...]
    costs: tuple[int, ...]


class HandSearch:
    """Options of every slice, and their search under offers.

    ``base``: the ways to start from; ``kept``: ways that are options too, whatever they cost.
    ``impossible``: price of what no finger can do. ``search`` knows nothing yet; the searches that
    are asked start from it.
    """

    def __init__(self, scene: Scene, base: Sequence[Sequence[int]], player: Player,
                 prices: Mapping[str, int], kept: Sequence[Sequence[int]] = (),
                 recall: Recall | None = None, impossible: int = IMPOSSIBLE) -> None:
        recall = recall or Recall()
        costs = recall.common("grip costs", lambda: GripCosts(
            player, prices, impossible, scene.wire_top))
        self._scene, self._costs = scene, costs
        self._placed = [[i for i, t in enumerate(row) if t is not None] for row in scene.tones]
        self.search = PairSearch(costs, costs.horizon)
        thinned = scene.universe.thinned
        self._made = recall.common(("choices", scene.places, thinned), lambda: Choices(
            player, prices, scene.places, thinned))
        self.touchy = _touchy(scene, base, player)
        self.losable = _losable(scene, base, player)
        self._asked = [tuple(dict.fromkeys(map(tuple, rows)))
                       for rows in zip(base, kept or base, strict=True)]
        self._prices, self._recall = prices, recall
        self._slots = [self._known(at) for at in range(len(base))]

    def learn(self, ways: Sequence[Sequence[int]]) -> bool:
        """Offer the hands these ways too, where they are new; tell whether any are."""
        new, most = False, self._scene.universe.asked
        for at, (row, asked, placed) in enumerate(zip(ways, self._asked, self._placed,
                                                      strict=True)):
            known = self._slots[at].menu.rows
            if len(asked) < most and tuple(row[i] for i in placed) not in known:
                self._asked[at] = (*asked, tuple(row))
                self._slots[at] = self._known(at)
                new = True
        return new

    def _known(self, at: int) -> Slot:
        """The slot of a slice whose rows are the same objects; it keeps them and thus their ids."""
        scene = self._scene
        rows = scene.ways[at], scene.tones[at], scene.pins[at] if scene.pins else ()
        key = (scene.parts[at].seconds, *map(id, rows), self._asked[at], tuple(self.touchy[at]),
               tuple(self.losable[at]))
        return self._recall.lasting(key, lambda: (self._slot(at), rows))[0]

    def _slot(self, at: int) -> Slot:
        base, *others = self._asked[at]
        scene, placed = self._scene, self._placed[at]
        part, ways = scene.parts[at], scene.ways[at]
        mine = [ways[i] for i in placed]
        chords = [t.chord for t in scene.tones[at] if t is not None]
        held = [replace(t, chord=chords.index(t.chord)) for t in scene.tones[at] if t is not None]
        rows = patterns(mine, [base[i] for i in placed], [self.touchy[at][i] for i in placed],
                        [self.losable[at][i] for i in placed], scene.universe)
        rows = tuple(dict.fromkeys((*rows, *(tuple(r[i] for i in placed) for r in others))))
        rows = with_losses(rows, [self.losable[at][i] for i in placed])
        pins = tuple(scene.pins[at][i] for i in placed) if scene.pins else ()
        rolled = tuple(part.notes[i].rolled for i in placed)
        drops = tuple(w.drop for w in ways)
        key = ("menu", tuple(placed), drops, tuple(held), tuple(mine), rows, pins, rolled,
               scene.places, scene.universe.thinned, scene.universe.choices)
        return Slot(part.seconds, self._recall.common(key, lambda: Menu(
            placed, drops, self._options(held, mine, rows, pins, rolled, self._prices["roll"],
                                         placed), self._costs, rows)))

    def _options(self, held: Sequence[Tone], mine: Sequence[Ways],
                 rows: Sequence[tuple[int, ...]], pins: Sequence[Pin], rolled: Sequence[bool],
                 roll: int, placed: Sequence[int]) -> list[Choice]:
        """Options of a slice, their octaves by index among all its notes."""
        most = self._scene.universe.choices
        if pins:
            options = _cheapest(pinned_choices([c for p in rows for c in self._made.of(
                held, mine, p)], mine, pins, rolled, roll), most, lambda c: (c.price, c.ways))
        else:  # as above, and only what is kept is made a Choice, which takes longest
            options = [Choice(*w) for w in _cheapest([
                (ways, left, right, octaves, price) for p in rows
                for ways, octaves, both in self._made.shared(held, mine, p)
                for left, right, price in both], most, lambda w: (w[4], w[0]))]
        return [replace(c, octaves=tuple((placed[i], p) for i, p in c.octaves))
                if c.octaves else c for c in options]

    def ways(self, at: int, choice: Choice, base: Sequence[int]) -> tuple[int, ...]:
        """Ways of all notes of a slice, graces as in ``base``."""
        if len(choice.ways) == len(base):
            return choice.ways
        whole = list(base)
        for i, way in zip(self._placed[at], choice.ways, strict=True):
            whole[i] = way
        return tuple(whole)

    def solve(self, more: Offers, search: PairSearch,
              less: Offers = NOWHERE) -> tuple[int, tuple[Choice, ...]]:
        """Cheapest hands; what a way of a note costs more, and less."""
        return self._cheapest(search, [slot.offered(more.get(at, NOTHING), less.get(at, NOTHING))
                                       for at, slot in enumerate(self._slots)])

    def follow(self, ways: Sequence[Sequence[int]], search: PairSearch) -> HandWork:
        """Cheapest hands that follow these ways wherever they can."""
        strays = [slot.menu.straying(row) for slot, row in zip(self._slots, ways, strict=True)]
        _, picked = self._cheapest(search, strays)
        trail = search.trail()
        return HandWork(picked, tuple(stand for stand, _ in trail), tuple(
            cost - slot.paid(stray, choice) for slot, stray, choice, (_, cost) in zip(
                self._slots, strays, picked, trail, strict=True)))

    def _cheapest(self, search: PairSearch,
                  keys: Sequence[tuple[int, ...]]) -> tuple[int, tuple[Choice, ...]]:
        total, path = search.cheapest([slot.step(key) for slot, key in zip(
            self._slots, keys, strict=True)])
        assert total < INFINITE  # a hand may always rest
        return total, tuple(slot.choice(key, pair)
                            for slot, key, pair in zip(self._slots, keys, path, strict=True))


def _cheapest(options: Sequence[T], most: int,
              of: Callable[[T], tuple[int, tuple[int, ...]]]) -> list[T]:
    """The cheapest options in their order, and the cheapest of every pattern (price, ways)."""
    if len(options) <= most:
        return list(options)
    keys = [of(option) for option in options]
    ranked = sorted(range(len(options)), key=lambda k: keys[k][0])
    kept = set(ranked[:most])
    kept |= set({keys[k][1]: k for k in reversed(ranked)}.values())
    return [options[k] for k in sorted(kept)]


def _touchy(scene: Scene, base: Sequence[Sequence[int]], player: Player) -> list[list[bool]]:
    """Notes whose string matters to the hands.

    It, or its neighbour, is struck close by, or it lies at the edge of a wide chord.
    """
    whole = not scene.universe.touchy_only
    touchy = [[whole and t is not None for t in row] for row in scene.tones]
    for t, row in enumerate(base):
        for i in _edges(scene, t, row, player):
            touchy[t][i] = True
    lead, free = player.placing_lead_seconds, player.restrike_free_seconds
    struck = _Struck(max(lead, free, player.collision_seconds))
    for t, (part, row) in enumerate(zip(scene.parts, base, strict=True)):
        for i, way in enumerate(row):
            tone = scene.tones[t][i]
            if way == LOST or tone is None:
                continue
            place = scene.ways[t][i].ways[way].pitch.position
            next_to = player.collision_seconds if tone.loud else lead
            for beside, near in ((-1, next_to), (1, next_to), (0, free)):
                for time, u, j in struck.lately(place + beside, part.seconds):
                    if part.seconds - time < near - _EPS:
                        touchy[t][i] = touchy[u][j] = True
            struck.add(place, (part.seconds, t, i))
    return touchy


def _edges(scene: Scene, t: int, base: Sequence[int], player: Player) -> Iterable[int]:
    """Outer notes of what a staff gives one hand to span, or all but."""
    for which in "LR":
        places = [(scene.ways[t][i].ways[way].pitch.position, i) for i, way in enumerate(base)
                  if way != LOST and (tone := scene.tones[t][i]) is not None
                  and tone.hand == which]
        if len(places) > 1 and max(places)[0] - min(places)[0] >= player.span_steps - 1:
            yield from (min(places)[1], max(places)[1])


def _losable(scene: Scene, base: Sequence[Sequence[int]], player: Player) -> list[list[bool]]:
    """Notes for which there may be no time at all: a string they could take comes back too fast."""
    whole = not scene.universe.touchy_only
    losable = [[whole and t is not None for t in row] for row in scene.tones]
    struck = _Struck(player.restrike_error_seconds)
    for t, (part, row) in enumerate(zip(scene.parts, base, strict=True)):
        for i, (note, way) in enumerate(zip(scene.ways[t], row, strict=True)):
            if scene.tones[t][i] is None:
                continue
            taken = () if way == LOST else note.ways[way:way + 1]
            for place in {w.pitch.position for w in (*note.ways[:note.spelled], *taken)}:
                for time, u, j in struck.lately(place, part.seconds):
                    if 0 < part.seconds - time < player.restrike_error_seconds - _EPS:
                        losable[t][i] = losable[u][j] = True
                struck.add(place, (part.seconds, t, i))
    return losable


class _Struck:
    """Who struck a string lately: seconds, slice and note, oldest first."""

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._last: dict[int, deque[tuple[float, int, int]]] = defaultdict(deque)

    def lately(self, place: int, now: float) -> Iterable[tuple[float, int, int]]:
        """Strokes of a string within the time that counts."""
        recent = self._last[place]
        while recent and now - recent[0][0] > self._seconds:
            recent.popleft()
        return recent

    def add(self, place: int, stroke: tuple[float, int, int]) -> None:
        """Record a stroke."""
        self._last[place].append(stroke)
