"""Pieces for the benchmarks of ``tests/test_speed.py``: broken chords in wandering keys."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from random import Random
from statistics import median
from time import perf_counter

from arranger.model.harp import spellings
from arranger.model.pitch import Pitch
from arranger.model.score import Measure, Note, Part, Score, TempoMap, TempoMark
from arranger.passes.settings import Settings
from arranger.passes.start import start
from arranger.plan.pedal_path import Way, Ways
from arranger.plan.slices import Slice, slices
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player
from arranger.rulebook.prices import load_prices
from arranger.search.positions import cheapest
from tests.strategies import long_piece

SETTINGS = Settings(load_harp("pedal-47"), load_player("average"), load_prices())
EIGHTH = Fraction(1, 2)
RUNS = 5


def milliseconds(run: Callable[[], object], count: int, runs: int = RUNS) -> float:
    """Median time of a run for each of ``count`` slices."""
    run()
    times = []
    for _ in range(runs):
        before = perf_counter()
        run()
        times.append(perf_counter() - before)
    return 1000 * median(times) / count


def synthetic_score(count: int = 1000, seed: int = 1) -> Score:
    """Eighths at crotchet = 100: chord notes below, a tune above, a new chord every half bar."""
    random = Random(seed)
    root, notes = 0, []
    for at in range(count):
        if at % 4 == 0:
            root = (root + random.choice((5, 7, 7, 5, 2, 8, 3))) % 12
            third = random.choice((3, 4))
        chord = (0, third, 7, 10)
        midis = [36 + root, 60 + root + chord[at % 4]]
        if at % 2 == 0:
            midis.append(72 + (root + random.choice(chord)) % 12)
        notes += [Note(f"n{at}.{i}", "P1", at // 8, EIGHTH * at, EIGHTH, spellings(m)[0],
                       staff=1 if m > 59 else 2, chord=2 * at + (m < 60))
                  for i, m in enumerate(sorted(set(midis)))]
    bars = -(-count // 8)
    measures = tuple(Measure(i, str(i + 1), Fraction(4 * i), Fraction(4)) for i in range(bars))
    return Score("", (Part("P1", "Piano", 2),), measures, tuple(notes),
                 TempoMap((TempoMark(Fraction(0), Fraction(100)),)), tuple(range(bars)))


def search_time(kind: str, count: int = 200, runs: int = RUNS) -> float:
    """Milliseconds a node of ``cheapest`` on gaps of one kind."""
    piece = long_piece(1, count, kind)
    return milliseconds(lambda: cheapest(piece.nodes, piece.gaps, piece.movers), count, runs)


def spelled_ways(score: Score) -> tuple[list[Slice], list[list[Ways]], list[list[float]]]:
    """Slices of a score, with all spellings of every note, and the seconds at which each ends."""
    parts = slices(start(score, "P1").notes, score.tempo)
    ways = [[Ways(tuple(Way(p, 4 * i) for i, p in enumerate(all_spellings(n.pitch))), 130,
                  len(all_spellings(n.pitch))) for n in s.notes] for s in parts]
    return parts, ways, [[score.tempo.seconds(n.source.end) for n in s.notes] for s in parts]


def all_spellings(pitch: Pitch) -> tuple[Pitch, ...]:
    """Spellings of a pitch, its own first."""
    return tuple(sorted(spellings(pitch.midi), key=lambda p: p != pitch))
