"""Slices: everything that is plucked at one moment, with its time in seconds."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from arranger.model.draft import HarpNote
from arranger.model.score import TempoMap


@dataclass(frozen=True, slots=True)
class Slice:
    """Notes attacked together, lowest first; ``seconds`` from the start of the written score."""

    onset: Fraction
    seconds: float
    notes: tuple[HarpNote, ...]


def clock(tempo: TempoMap, onsets: Sequence[Fraction]) -> list[float]:
    """Seconds of onsets given in rising order."""
    times: list[float] = []
    marks = tempo.marks
    at, base = 0, 0.0
    for onset in onsets:
        while at + 1 < len(marks) and marks[at + 1].onset <= onset:
            base += float(marks[at + 1].onset - marks[at].onset) * 60.0 / float(marks[at].bpm)
            at += 1
        times.append(base + float(onset - marks[at].onset) * 60.0 / float(marks[at].bpm))
    return times


def slices(notes: Iterable[HarpNote], tempo: TempoMap) -> tuple[Slice, ...]:
    """Group notes by onset."""
    ordered = sorted(notes, key=lambda n: (n.onset, n.pitch.midi, n.id))
    groups = [(onset, tuple(group)) for onset, group in groupby(ordered, key=lambda n: n.onset)]
    times = clock(tempo, [onset for onset, _ in groups])
    return tuple(Slice(onset, time, group)
                 for (onset, group), time in zip(groups, times, strict=True))
