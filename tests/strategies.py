"""Random pieces for the search: hypothesis strategies for small ones, seeded makers for long ones.

Look-backs are always those of nodes that lie somewhere in time: this is what ``Gap`` asks for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from random import Random

import numpy as np
from hypothesis import strategies as st

from arranger.model.harp import HarpString
from arranger.model.pitch import Pitch
from arranger.model.score import Measure, Part, Score, TempoMap, TempoMark
from arranger.plan.hand_options import Tone
from arranger.plan.pedal_path import Way, Ways
from arranger.plan.slices import Slice
from arranger.plan.timing import Use
from arranger.search.board import INFINITE, Gap, Movers
from tests.oracles import POSITIONS, NoteWays, node_table

MOVERS = Movers(notch=4, double=6, calm=8, price=10, crowd=15)
KINDS = {"short": (1, 3), "mixed": (1, 12), "long": (4, 40)}


@dataclass(frozen=True, slots=True)
class Piece:
    """Input of ``cheapest``; ``notes`` is empty where the nodes are not made of notes."""

    nodes: tuple[np.ndarray, ...]
    gaps: tuple[Gap, ...]
    movers: Movers
    notes: tuple[tuple[NoteWays, ...], ...] = ()


def gaps_of(ticks: Sequence[int], leaves: Sequence[np.ndarray], movers: Movers) -> tuple[Gap, ...]:
    """Gaps before every node from the distances between nodes (``ticks[0]`` is ignored)."""
    gaps = [Gap(leaves[0], 0)]
    for t in range(1, len(ticks)):
        near, since = 0, ticks[t]
        while since < movers.notch and near < t:
            near += 1
            since += ticks[t - near] if t - near > 0 else movers.notch
        gaps.append(Gap(leaves[t], ticks[t], near))
    return tuple(gaps)


@st.composite
def movers_(draw: st.DrawFn) -> Movers:
    """Movers of all kinds: a two-notch move may take longer than a move at leisure."""
    notch = draw(st.integers(1, 4))
    return Movers(notch, notch + draw(st.integers(0, 4)), notch + draw(st.integers(0, 4)),
                  draw(st.integers(0, 10)), draw(st.integers(0, 15)))


@st.composite
def small_pieces(draw: st.DrawFn, most: int = 4) -> Piece:
    """Up to ``most`` nodes with three free switches; the other four stand still."""
    movers = draw(movers_())
    free = draw(st.sampled_from([(0, 1, 2), (3, 4, 5), (0, 3, 4), (1, 2, 6), (4, 5, 6)]))
    count = draw(st.integers(1, most))
    ticks = [draw(st.one_of(st.integers(0, movers.notch), st.integers(1, 3 * movers.double)))
             for _ in range(count)]
    leaves, nodes = [], []
    still = np.array([all(s[p] == 1 for p in range(7) if p not in free) for s in POSITIONS])
    for _ in range(count):
        leave = np.zeros((7, 3), dtype=np.int32)
        for p in free:
            leave[p] = draw(st.lists(st.sampled_from([0, 0, 0, 12, 40, INFINITE]), min_size=3,
                                     max_size=3))
        leaves.append(leave)
        wanted = [(p, draw(st.integers(0, 2)), draw(st.sampled_from([0, 7, 60, 300])))
                  for p in free]
        node = np.zeros(len(POSITIONS), dtype=np.int32)
        for p, q, price in wanted:
            node += np.array([0 if s[p] == q else price for s in POSITIONS], dtype=np.int32)
        nodes.append(np.where(still, node, INFINITE).astype(np.int32))
    return Piece(tuple(nodes), gaps_of(ticks, leaves, movers), movers)


def random_notes(random: Random, centre: list[int]) -> tuple[NoteWays, ...]:
    """Zero to four notes near a wandering setting, each with one to four ways."""
    if random.random() < 0.3:
        centre[random.randrange(7)] = random.randrange(3)
    notes = []
    for _ in range(random.choice((0, 1, 1, 2, 3, 4))):
        p = random.randrange(7)
        q = centre[p] if random.random() < 0.7 else random.randrange(3)
        drop = random.choice((40, 60, 130, 220, 900, 2000))
        ways = [(p, q, 0)]
        if random.random() < 0.5:
            ways.append(((p + 1) % 7, random.randrange(3), 4))
        ways += [(random.randrange(7), random.randrange(3), drop * 7 // 10)
                 for _ in range(random.choice((0, 0, 1, 2)))]
        notes.append((tuple(ways), drop))
    return tuple(notes)


def random_leave(random: Random) -> np.ndarray:
    """Prices of leaving: mostly nothing, some ring, some that must stay."""
    return np.array([[random.choice((0, 0, 0, 0, 5, 12, 27, 40, INFINITE)) for _ in range(3)]
                     for _ in range(7)], dtype=np.int32)


def long_piece(seed: int, count: int, kind: str) -> Piece:
    """Piece of ``count`` nodes made of notes, gaps of one kind of ``KINDS``."""
    random = Random(f"{kind} {count} {seed}")
    centre = [1] * 7
    ticks = [random.randint(*KINDS[kind]) for _ in range(count)]
    notes = tuple(random_notes(random, centre) for _ in range(count))
    leaves = [random_leave(random) for _ in range(count)]
    return Piece(tuple(node_table(n) for n in notes), gaps_of(ticks, leaves, MOVERS), MOVERS, notes)


@dataclass(frozen=True, slots=True)
class Passage:
    """Input of ``pedal_path``: seconds of the slices, ways and ends of their notes."""

    times: tuple[float, ...]
    ways: tuple[tuple[Ways, ...], ...]
    ends: tuple[tuple[float, ...], ...]

    @property
    def parts(self) -> tuple[Slice, ...]:
        """Slices; the search reads nothing of them but the time."""
        return tuple(Slice(Fraction(t), t, ()) for t in self.times)

    def slower(self, factor: float) -> Passage:
        """The same passage at a slower tempo."""
        return Passage(tuple(t * factor for t in self.times), self.ways,
                       tuple(tuple(e * factor for e in row) for row in self.ends))


@st.composite
def ways_(draw: st.DrawFn, letters: str) -> Ways:
    """A note on some of these letters, now and then on a string without disc."""
    found = [Way(Pitch(draw(st.sampled_from(letters)), draw(st.integers(-1, 1)),
                       draw(st.integers(1, 7))), draw(st.sampled_from([0, 4, 30, 90])))
             for _ in range(draw(st.integers(1, 3)))]
    drop = draw(st.sampled_from([60, 130, 900]))
    if draw(st.integers(0, 9)) == 9:
        return Ways(tuple(found[:1]), drop, free=True)
    return Ways(tuple(found), drop, draw(st.integers(1, min(2, len(found)))))


@st.composite
def passages(draw: st.DrawFn, letters: str, most: int = 4, least: int = 1, notes: int = 3,
             gaps: Sequence[float] = (0.03, 0.1, 0.2, 0.25, 0.4, 0.6, 1.5, 4.0)) -> Passage:
    """A few slices whose notes stay on these letters."""
    times, ways, ends, time = [], [], [], 0.0
    for _ in range(draw(st.integers(least, most))):
        here = draw(st.lists(ways_(letters), max_size=notes))
        times.append(time)
        ways.append(tuple(here))
        ends.append(tuple(time + draw(st.sampled_from([0.1, 0.5, 2.0])) for _ in here))
        time += draw(st.sampled_from(gaps))
    return Passage(tuple(times), tuple(ways), tuple(ends))


@st.composite
def uses_(draw: st.DrawFn, letters: str = "DCBEFGA", most: int = 12,
          gaps: Sequence[int] = (0, 2, 4, 16)) -> tuple[Use, ...]:
    """Uses of some letters, these eighths of a crotchet apart; one position of each at a time."""
    found, stands = [], {}
    at = Fraction(0)
    for _ in range(draw(st.integers(1, most))):
        at += Fraction(draw(st.sampled_from(gaps)), 8)
        step = draw(st.sampled_from(letters))
        if stands.get(step, (-1, 0))[0] == at:
            continue
        stands[step] = (at, draw(st.integers(-1, 1)))
        found.append(Use(at, step, stands[step][1], at + Fraction(draw(st.sampled_from([1, 4])), 4),
                         draw(st.sampled_from([0, 36, 60, 84]))))
    return tuple(found)


def empty_score(bars: int = 8, bpm: int = 60) -> Score:
    """Bars of four crotchets without notes."""
    measures = tuple(Measure(i, str(i + 1), Fraction(4 * i), Fraction(4)) for i in range(bars))
    return Score("", (Part("P1", "Harp", 2),), measures, (),
                 TempoMap((TempoMark(Fraction(0), Fraction(bpm)),)), tuple(range(bars)))


@st.composite
def tones_(draw: st.DrawFn, most: int = 9) -> tuple[Tone, ...]:
    """Notes of one slice on strings of their own, lowest string first."""
    places = sorted(draw(st.sets(st.integers(8, 53), min_size=1, max_size=most)))
    if draw(st.booleans()):  # a chord in one place
        places = sorted({20 + p % 16 for p in places})
    rolled = draw(st.booleans())
    return tuple(Tone(HarpString(p).pitch(draw(st.integers(-1, 1))), draw(st.sampled_from("LR")),
                      draw(st.sampled_from([40, 60, 130, 900])), draw(st.booleans()),
                      draw(st.booleans()), rolled, draw(st.integers(0, 2))) for p in places)
