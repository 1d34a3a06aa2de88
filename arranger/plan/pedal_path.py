"""Which string each note takes, or what else becomes of it, at the least price in pedals.

Slices closer than ``FEET_AT_ONCE`` share one setting (a foot cannot act between them). What the
search sees of a note is the set of its ways: one letter at one position for a price, or nothing
for the price of leaving it out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from math import ceil
from weakref import WeakValueDictionary

import numpy as np
import numpy.typing as npt

from arranger.model.harp import PEDALS
from arranger.model.pitch import SEMITONES, Pitch
from arranger.plan.foot_work import PIN, GivenSearch, wished
from arranger.plan.ornaments import Wish
from arranger.plan.pedal_loops import demanded
from arranger.plan.recall import Recall
from arranger.plan.ring import AUDIBLE, level
from arranger.plan.slices import Slice
from arranger.rulebook.players import Player
from arranger.search.board import INFINITE, SWITCHES, Board, Gap, Movers, Table
from arranger.search.positions import PositionSearch

#: Seconds within which attacks count as one for the feet (assumption).
FEET_AT_ONCE = 0.08
_TICKS = 16  # ticks a second for foot work
_OCTAVES = 9


@dataclass(frozen=True, slots=True)
class Way:
    """One way to sound a note: the spelled pitch, and its price."""

    pitch: Pitch
    price: int


@dataclass(frozen=True, slots=True)
class Ways:
    """All ways of one note and the price of leaving it out.

    The first ``spelled`` ways sound the note itself, the rest are stand-ins. ``free``: the way
    is a string without disc, which asks nothing of the pedals.
    """

    ways: tuple[Way, ...]
    drop: int
    spelled: int = 1
    free: bool = False


@dataclass(frozen=True, slots=True)
class PedalPath:
    """Result: the taken way (None: left out) per slice and note, pedals per slice, the price."""

    taken: tuple[tuple[Way | None, ...], ...]
    states: tuple[tuple[int, ...], ...]
    total: int


def movers(player: Player, prices: Mapping[str, int]) -> Movers:
    """Durations and prices of foot work for the search; times are rounded up, never down."""
    notch, double, calm = (ceil(seconds * _TICKS - 1e-6) for seconds in (
        player.foot_move_seconds, player.foot_two_notch_seconds, player.foot_sustained_seconds))
    return Movers(notch=notch, double=double, calm=calm,
                  price=prices["notch"], crowd=prices["crowd"])


def stations(times: Sequence[float]) -> tuple[int, ...]:
    """Index of the first slice of every group that shares a setting."""
    firsts: list[int] = []
    for at, time in enumerate(times):
        if not firsts or time - times[firsts[-1]] >= FEET_AT_ONCE:
            firsts.append(at)
    return tuple(firsts)


class _LastUse:
    """When each pitch of each letter was last wanted: 7 x 3 x octaves, seconds."""

    def __init__(self) -> None:
        shape = (7, 3, _OCTAVES)
        self.struck = np.full(shape, -np.inf)
        self.until = np.full(shape, -np.inf)
        self.possible = np.full((7, 3), -np.inf)
        octaves = np.arange(_OCTAVES)
        steps = np.array([SEMITONES[s] for s in PEDALS])
        midi = 12 * (octaves[None, None, :] + 1) + steps[:, None, None] \
            + np.arange(-1, 2)[None, :, None]
        self.midi: npt.NDArray[np.int64] = np.clip(midi, 0, 127).astype(np.int64)

    def note(self, ways: Ways, time: float, end: float) -> None:
        """Record a note on every string that could sound it.

        Counting both strings of an enharmonic pair charges an idle letter at times, and never
        too little; it keeps the price independent of how the source happens to be spelled.
        """
        if ways.free:
            return
        for way in ways.ways:
            self.possible[PEDALS.index(way.pitch.step), way.pitch.alter + 1] = time
        for way in ways.ways[:ways.spelled]:
            place = (PEDALS.index(way.pitch.step), way.pitch.alter + 1,
                     min(way.pitch.octave, _OCTAVES - 1))
            self.struck[place] = time
            self.until[place] = max(self.until[place], end)

    def leave(self, start: float, arrive: float, player: Player,
              prices: Mapping[str, int]) -> Table:
        """Price of moving each pedal off each position between ``start`` and ``arrive``.

        A move takes its time from the last pluck of the old pitch; where there is less, it is
        hurried at a price that grows with the haste, but never into the moment before the pluck
        by which the pedal must be down.
        """
        ringing = level(self.midi, np.maximum(start - self.struck, 0.0))
        heard = np.maximum(0.0, ringing - AUDIBLE)
        price = prices["ring"] * heard.max(axis=2)
        price += prices["held"] * (heard * (self.until > arrive - 1e-6)).max(axis=2)
        price += hurried(arrive - self.struck.max(axis=2), player, prices)
        table = np.rint(price).astype(np.int32)
        table[arrive - self.possible < player.pedal_lead_seconds + 1e-6] = INFINITE
        return np.asarray(table, dtype=np.int32)


def hurried(wait: npt.NDArray[np.float64], player: Player,
            prices: Mapping[str, int]) -> npt.NDArray[np.float64]:
    """Price of moves with ``wait`` seconds for each: less than at leisure, than a move takes."""
    haste = 1.0 - wait / player.foot_move_seconds
    return np.asarray(prices["hurry"] * (wait < player.foot_sustained_seconds - 1e-6)
                      + prices["rush"] * np.where(haste > 1e-6, 1.0 + 4.0 * haste, 0.0))


def pedal_path(parts: Sequence[Slice], ways: Sequence[Sequence[Ways]],
               ends: Sequence[Sequence[float]], player: Player, prices: Mapping[str, int],
               pins: Mapping[int, tuple[int, ...]] | None = None,
               wishes: Sequence[Sequence[Wish]] = ()) -> PedalPath:
    """Solve a piece exactly, once (see ``PedalSearch``)."""
    if not parts:
        return PedalPath((), (), 0)
    return PedalSearch(parts, ways, ends, player, prices, pins, wishes=wishes).cheapest(ways)


class PedalSearch:
    """Exact plans of one piece, found anew quickly where only the prices of some ways changed.

    Parameters
    ----------
    parts : slices in order.
    ways : the ways of each note of each slice.
    ends : seconds at which each note of each slice stops being held.
    pins : positions 0-2 of the seven pedals that must stand at a slice (by its index).
    settings : positions that pins of later calls may ask for besides.
    wishes : what ornaments ask of the pedals at each slice (none: nothing).
    """

    def __init__(self, parts: Sequence[Slice], ways: Sequence[Sequence[Ways]],
                 ends: Sequence[Sequence[float]], player: Player, prices: Mapping[str, int],
                 pins: Mapping[int, tuple[int, ...]] | None = None,
                 settings: Iterable[tuple[int, ...]] = (),
                 recall: Recall | None = None, wishes: Sequence[Sequence[Wish]] = ()) -> None:
        recall = recall or Recall()
        wishes = wishes or ((),) * len(parts)
        times = [s.seconds for s in parts]
        firsts = stations(times)
        self._spans = tuple(zip(firsts, [*firsts[1:], len(parts)], strict=True))
        self._pins = pins or {}
        self._wishes = [tuple(w for row in wishes[first:last] for w in row)
                        for first, last in self._spans]
        self._ranges = _ranges(ways, (*self._pins.values(), *settings), self._wishes)
        board = Board(self._ranges)
        self._gaps = recall.get(("gaps", *map(id, ways), *self._wishes), lambda: ([
            recall.same((g.leave.tobytes(), g.work, g.look_back), g)
            for g in _gaps(times, self._spans, ways, ends, wishes, player, prices)], ways))[0]
        self._movers = movers(player, prices)
        self._search = PositionSearch(self._gaps, self._movers, board)
        self._nodes = recall.common(("nodes", self._ranges), lambda: _Nodes(board))
        self._asked: Mapping[int, tuple[int, ...]] = {}
        self._rows: list[Sequence[Ways]] = []
        self._tables: list[Table] = []
        self._taken: list[tuple[tuple[int, ...], tuple[Way | None, ...]]] = []

    def knowing(self, other: PedalSearch | None) -> PedalSearch:
        """Return this search, starting from what another one of nearly the same piece knows."""
        new = copy(self)
        if other is not None and other._ranges == self._ranges:
            new._search = other._search.over(self._gaps)
            if other._spans == self._spans and other._wishes == self._wishes:
                new._asked, new._rows = other._asked, other._rows
                new._tables, new._taken = other._tables, other._taken
        return new

    def given(self) -> GivenSearch:
        """Search of the foot work of the same piece where every note goes a given way."""
        return GivenSearch(self._spans, self._gaps, self._movers, self._ranges, self._pins,
                           self._wishes)

    def cheapest(self, ways: Sequence[Sequence[Ways]],
                 pins: Mapping[int, tuple[int, ...]] | None = None) -> PedalPath:
        """Cheapest plan.

        Parameters
        ----------
        ways : those of the start, but for their prices. A row that is the same object as in the
            last call is known again; rows must not be changed between calls.
        pins : other pins than those of the start.
        """
        pins = self._pins if pins is None else pins
        known = self._known(ways, pins)
        tables = self._stations(ways, pins, known)
        total, path = self._search.cheapest(tables)
        states: list[tuple[int, ...]] = []
        for (first, last), state in zip(self._spans, path, strict=True):
            states += [self._nodes.settings[state]] * (last - first)
        taken = [self._taken[at] if known[at] and self._taken[at][0] is state else
                 (state, tuple(_take(w, state) for w in row))
                 for at, (row, state) in enumerate(zip(ways, states, strict=True))]
        self._asked, self._rows, self._tables, self._taken = pins, list(ways), tables, taken
        return PedalPath(tuple(t for _, t in taken), tuple(states), total)

    def least(self, ways: Sequence[Sequence[Ways]], pins: Mapping[int, tuple[int, ...]]) -> int:
        """Price of the cheapest plan alone."""
        return self._search.least(self._stations(ways, pins, self._known(ways, pins)))

    def _known(self, ways: Sequence[Sequence[Ways]],
               pins: Mapping[int, tuple[int, ...]]) -> list[bool]:
        """Tell of every slice whether the same was asked of it in the last plan."""
        if not self._rows:
            return [False] * len(ways)
        known = [row is old for row, old in zip(ways, self._rows, strict=True)]
        for at in {*pins, *self._asked}:
            known[at] = known[at] and pins.get(at) == self._asked.get(at)
        return known

    def _stations(self, ways: Sequence[Sequence[Ways]], pins: Mapping[int, tuple[int, ...]],
                  known: Sequence[bool]) -> list[Table]:
        """Price tables of all stations; those of slices that are known are kept."""
        if not self._rows:
            tables: list[Table | None] = [None] * len(self._spans)
        elif all(known):
            return self._tables
        else:
            tables = list(self._tables)
        return [table if table is not None and all(known[first:last]) else self._nodes.station(
            [w for row in ways[first:last] for w in row],
            [pins[at] for at in range(first, last) if at in pins], wishes)
            for table, wishes, (first, last) in zip(tables, self._wishes, self._spans,
                                                    strict=True)]


def _ranges(ways: Sequence[Sequence[Ways]],
            settings: Iterable[tuple[int, ...]],
            wishes: Iterable[Iterable[Wish]]) -> tuple[tuple[int, int], ...]:
    """Positions each pedal may need: from the lowest to the highest that anything asks."""
    used: list[set[int]] = [set() for _ in PEDALS]
    for note in (w for row in ways for w in row if not w.free):
        for way in note.ways:
            used[PEDALS.index(way.pitch.step)].add(way.pitch.alter + 1)
    for pitch in (w.pitch for row in wishes for w in row):
        used[PEDALS.index(pitch.step)].add(pitch.alter + 1)
    for state in settings:
        for positions, position in zip(used, state, strict=True):
            positions.add(position)
    return tuple((min(p, default=0), max(p, default=0)) for p in used)


class _Nodes:
    """Price tables of stations; the same demands give the same array while it is in use."""

    def __init__(self, board: Board) -> None:
        self.states = board.states
        self.settings = tuple(tuple(map(int, row)) for row in board.states)
        self._stations: WeakValueDictionary[tuple[object, ...], Table] = WeakValueDictionary()

    def station(self, notes: Sequence[Ways], pins: Sequence[tuple[int, ...]],
                wishes: tuple[Wish, ...]) -> Table:
        """Prices of all settings where these notes are wanted and these settings must stand."""
        demands = [_demand(note) for note in notes]
        key = (*demands, *pins, wishes)
        table = self._stations.get(key)
        if table is None:
            table = demanded(self.states, np.array([row for rows in demands for row in rows],
                                                   dtype=np.int32).reshape(-1, 3))
            for pin in pins:
                for own in SWITCHES:
                    met = (np.array(pin[own]) == self.states[:, own]).all(axis=1)
                    table += np.where(met, 0, PIN).astype(np.int32)
            for pedal, position, price in wished(wishes):
                table += np.where(self.states[:, pedal] == position, 0, price).astype(np.int32)
            self._stations[key] = table
        return table


def _demand(note: Ways) -> tuple[tuple[int, int, int], ...]:
    """What a note asks: pedal, position and price of its ways, and last of leaving it out."""
    if note.free:
        return ((-1, -1, min(note.drop, note.ways[0].price)),)
    return (*((PEDALS.index(w.pitch.step), w.pitch.alter + 1, w.price) for w in note.ways),
            (-1, -1, note.drop))


def _take(ways: Ways, state: tuple[int, ...]) -> Way | None:
    """Cheapest way open at a setting; None if leaving the note out is cheaper."""
    open_ways = [w for w in ways.ways
                 if ways.free or state[PEDALS.index(w.pitch.step)] == w.pitch.alter + 1]
    best = min(open_ways, key=lambda w: w.price, default=None)
    return best if best is not None and best.price < ways.drop else None


def _near(times: Sequence[float], firsts: Sequence[int], rank: int, seconds: float) -> int:
    """How many earlier stations lie less than ``seconds`` before station ``rank``."""
    count = 0
    while count < rank and times[firsts[rank]] - times[firsts[rank - count - 1]] < seconds - 1e-6:
        count += 1
    return count


def _gaps(times: Sequence[float], spans: Sequence[tuple[int, int]],
          ways: Sequence[Sequence[Ways]], ends: Sequence[Sequence[float]],
          wishes: Sequence[Sequence[Wish]], player: Player,
          prices: Mapping[str, int]) -> list[Gap]:
    """What the feet may do before every station."""
    uses = _LastUse()
    firsts = [first for first, _ in spans]
    gaps: list[Gap] = []
    notch = movers(player, prices).notch
    for rank, (first, last) in enumerate(spans):
        arrive = times[first]
        if rank == 0:
            gaps.append(Gap(np.zeros((7, 3), dtype=np.int32), 0))
        else:
            since = arrive - times[first - 1]
            start = max(arrive - player.foot_move_seconds, times[first - 1])
            leave = uses.leave(start, arrive, player, prices)
            work = int(since * _TICKS + 1e-6)
            near = 0
            if work < notch:
                work = 1
                near = _near(times, firsts, rank, player.foot_move_seconds)
            gaps.append(Gap(leave, work, near))
        for at in range(first, last):
            for note_ways, end in zip(ways[at], ends[at], strict=True):
                uses.note(note_ways, times[at], end)
            for wish in wishes[at]:
                uses.note(Ways((Way(wish.pitch, 0),), 0), times[at], times[at])
    return gaps
