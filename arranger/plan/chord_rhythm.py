"""When the left hand strikes what of a chord: stretches of one harmony, and their figures."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from arranger.model.chord import ChordSymbol
from arranger.model.score import Measure, Score

#: What of a grip is struck: all of it, its bass, the notes over the bass, the one in the middle, or
#: the highest.
What = Literal["all", "bass", "upper", "middle", "top"]


@dataclass(frozen=True, slots=True)
class Stretch:
    """One harmony within one bar, from ``start`` to ``end`` in quarter notes.

    ``last``: nothing is played after it.
    """

    symbol: ChordSymbol
    bar: Measure
    start: Fraction
    end: Fraction
    last: bool = False


@dataclass(frozen=True, slots=True)
class Beat:
    """Something of the grip struck at ``start`` and written up to ``end``, in quarter notes."""

    start: Fraction
    end: Fraction
    what: What


def stretches(score: Score, symbols: Sequence[ChordSymbol]) -> tuple[Stretch, ...]:
    """Cut the harmonies at the barlines, for each bar that goes on with one strikes it again.

    An upbeat whose harmony goes on into the first whole bar stays free, as do N.C. and the like.
    """
    found: list[Stretch] = []
    final = score.playing_order[-1] if score.playing_order else len(score.measures) - 1
    for bar in score.measures:
        end = bar.onset + bar.duration
        before = [s for s in symbols if s.onset <= bar.onset][-1:]
        inside = [s for s in symbols if bar.onset < s.onset < end]
        here = [*before, *inside]
        starts = [max(s.onset, bar.onset) for s in here]
        for symbol, start, stop in zip(here, starts, [*starts, end][1:], strict=True):
            if symbol.tones and not (_upbeat(bar) and stop == end
                                     and not any(s.onset == end for s in symbols)):
                last = bar.index == final and stop == end
                found.append(Stretch(symbol, bar, start, stop, last))
    return tuple(found)


def _upbeat(bar: Measure) -> bool:
    return bar.index == 0 and bar.duration < _metre(bar)


def _metre(bar: Measure) -> Fraction:
    return Fraction(4 * bar.beats, bar.beat_type)


def beat_length(bar: Measure) -> Fraction:
    """Return the beat a player counts, in quarter notes: dotted in compound metre."""
    unit = Fraction(4, bar.beat_type)
    return 3 * unit if bar.beat_type >= 8 and bar.beats % 3 == 0 else unit


def most_notes(stretch: Stretch) -> int:
    """Return how many notes the grip of a stretch may have: two where there is but a beat."""
    short = stretch.end - stretch.start <= beat_length(stretch.bar)
    return 2 if short and stretch.end - stretch.start < stretch.bar.duration else 3


def figure(stretch: Stretch) -> tuple[Beat, ...]:
    """Return the strokes of a stretch: simple ones, on the strong beats.

    A bar of two beats has the bass and then the notes over it, one of three the notes of the chord
    one by one, one of four the whole chord and, in its middle, the notes over the bass. A harmony
    of a beat has two notes, and the last one of the piece the whole chord, held.
    """
    beat = beat_length(stretch.bar)
    beats = (stretch.end - stretch.start) / beat
    return tuple(_laid(stretch, beat, _parts(stretch, beats, beat)))


def _parts(stretch: Stretch, beats: Fraction, beat: Fraction) -> list[tuple[Fraction, What]]:
    """What is struck, with the beat of the stretch it is struck on."""
    bar = stretch.bar
    metre = _metre(bar) / beat
    zero, one, two = Fraction(0), Fraction(1), Fraction(2)
    if stretch.last or (stretch.start - bar.onset) % beat:
        return [(zero, "all")]
    if beats == 3 == metre:
        return [(zero, "bass"), (one, "middle"), (two, "top")]
    if beats == 2 and metre in (2, 3):
        return [(zero, "bass"), (one, "upper")]
    if beats > 2:
        half = Fraction(-(-beats // 2)) if beats != 3 else two
        return [(zero, "all"), (half, "upper")]
    return [(zero, "all")]


def _laid(stretch: Stretch, beat: Fraction,
          parts: Sequence[tuple[Fraction, What]]) -> Iterator[Beat]:
    starts = [stretch.start + at * beat for at, _ in parts]
    for (_, what), start, end in zip(parts, starts, [*starts[1:], stretch.end], strict=True):
        yield Beat(start, end, what)
