"""Repetitions of one string in a line that come too fast, thinned to an even, slower beat."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise

from arranger.model.draft import HarpNote
from arranger.model.score import Score
from arranger.plan.slices import clock


def too_fast(notes: Sequence[HarpNote], score: Score, seconds: float) -> Iterator[HarpNote]:
    """Yield the repetitions to leave out so that the rest lie at least ``seconds`` apart.

    Of a run of repetitions those stay that lie on the coarser grid, which is the step of the run
    doubled (in triplets tripled) until it is slow enough, and its first note where there is time
    before them; so bars that are alike are thinned alike, and no upbeat takes its chord away.
    """
    by_pitch: dict[int, list[HarpNote]] = {}
    for note in notes:
        by_pitch.setdefault(note.pitch.midi, []).append(note)
    for same in by_pitch.values():
        same.sort(key=lambda n: n.onset)
        times = clock(score.tempo, [n.onset for n in same])
        quick = [0 < after - before < seconds - 1e-9 for before, after in pairwise(times)]
        first = 0
        for at in range(1, len(same) + 1):
            if at < len(same) and quick[at - 1]:
                continue
            if at - first > 1:
                yield from _thinned(same[first:at], times[first:at], score, seconds)
            first = at


def _thinned(run: Sequence[HarpNote], times: Sequence[float], score: Score,
             seconds: float) -> Iterator[HarpNote]:
    """Yield what a run of quick repetitions loses."""
    kept: list[int] = []
    for at, note in enumerate(run):
        one = max(at, 1)
        beat = _slower(run[one].onset - run[one - 1].onset, times[one] - times[one - 1], seconds)
        bar = score.measures[note.source.measure].onset
        if (note.onset - bar) % beat == 0 and (
                not kept or times[at] - times[kept[-1]] >= seconds - 1e-9):
            kept.append(at)
    if not kept or times[kept[0]] - times[0] >= seconds - 1e-9:
        kept.append(0)
    yield from (note for at, note in enumerate(run) if at not in kept)


def _slower(step: Fraction, gap: float, seconds: float) -> Fraction:
    beat, wait = step, gap
    if step.denominator % 3 == 0:
        beat, wait = beat * 3, wait * 3
    while wait < seconds - 1e-9:
        beat, wait = beat * 2, wait * 2
    return beat
