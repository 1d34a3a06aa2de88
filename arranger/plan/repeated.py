"""Repetitions of one string in a line that come too fast, thinned to an even, slower beat."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from arranger.model.draft import HarpNote
from arranger.model.score import Score
from arranger.plan.slices import clock


def too_fast(notes: Sequence[HarpNote], score: Score, seconds: float) -> Iterator[HarpNote]:
    """Yield the repetitions to leave out so that the rest lie at least ``seconds`` apart.

    A run of repetitions keeps its first note and every one on the coarser grid, which is the
    step of the run doubled (in triplets tripled) until it is slow enough; so bars that are alike
    are thinned alike.
    """
    by_pitch: dict[int, list[HarpNote]] = {}
    for note in notes:
        by_pitch.setdefault(note.pitch.midi, []).append(note)
    for same in by_pitch.values():
        same.sort(key=lambda n: n.onset)
        times = clock(score.tempo, [n.onset for n in same])
        kept = 0
        for at in range(1, len(same)):
            step = same[at].onset - same[at - 1].onset
            gap = times[at] - times[at - 1]
            if gap >= seconds - 1e-9 or gap <= 0:
                kept = at
                continue
            beat = _slower(step, gap, seconds)
            bar = score.measures[same[at].source.measure].onset
            on_beat = (same[at].onset - bar) % beat == 0
            if on_beat and times[at] - times[kept] >= seconds - 1e-9:
                kept = at
            else:
                yield same[at]


def _slower(step: Fraction, gap: float, seconds: float) -> Fraction:
    beat, wait = step, gap
    if step.denominator % 3 == 0:
        beat, wait = beat * 3, wait * 3
    while wait < seconds - 1e-9:
        beat, wait = beat * 2, wait * 2
    return beat
