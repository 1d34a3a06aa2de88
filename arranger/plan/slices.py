"""Slices: everything that is plucked at one moment, with its time in seconds."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from arranger.model.draft import HarpNote
from arranger.model.score import Score, TempoMap


@dataclass(frozen=True, slots=True)
class Slice:
    """Notes attacked together, lowest first; ``seconds`` from the start of the written score."""

    onset: Fraction
    seconds: float
    notes: tuple[HarpNote, ...]


def clock(tempo: TempoMap, onsets: Iterable[Fraction]) -> list[float]:
    """Seconds from the start of the written score to each onset, in any order."""
    return [tempo.seconds(onset) for onset in onsets]


def in_order(notes: Iterable[HarpNote]) -> list[HarpNote]:
    """Notes by onset, pitch and id. Floats tell musical onsets apart and compare fast."""
    return sorted(notes, key=lambda n: (float(n.source.onset), n.pitch.midi, n.source.id))


def slices(notes: Iterable[HarpNote], tempo: TempoMap) -> tuple[Slice, ...]:
    """Group notes by onset."""
    groups = [(onset, tuple(group))
              for onset, group in groupby(in_order(notes), key=lambda n: n.source.onset)]
    times = clock(tempo, [onset for onset, _ in groups])
    return tuple(Slice(onset, time, group)
                 for (onset, group), time in zip(groups, times, strict=True))


def joined_barlines(score: Score) -> tuple[tuple[float, float], ...]:
    """Seconds of the barlines that repeats and other jumps join: where from, where to."""
    bars, jumps = score.measures, score.jumps
    ends = clock(score.tempo, [bars[before].onset + bars[before].duration for before, _ in jumps])
    return tuple(zip(ends, clock(score.tempo, [bars[after].onset for _, after in jumps]),
                     strict=True))
