"""A score as the arranger sees it: sounding notes, bars, tempo, order of playing."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import pairwise

from arranger.model.pitch import Pitch

NoteId = str


def bar_name(number: str) -> str:
    """Name a bar by its printed number: ``bar 12``; the one numbered 0 is the ``upbeat``."""
    return "upbeat" if number == "0" else f"bar {number}"


_PARTS = {Fraction(n, d): sign for n, d, sign in (
    (0, 1, ""), (1, 2, "½"), (1, 4, "¼"), (3, 4, "¾"), (1, 3, "⅓"), (2, 3, "⅔"), (1, 6, "⅙"),
    (5, 6, "⅚"), (1, 8, "⅛"), (3, 8, "⅜"), (5, 8, "⅝"), (7, 8, "⅞"))}
#: Share of a beat within which a place is told by the beat beside it (assumption).
_NEAR = Fraction(1, 4)


def beat_name(beat: Fraction) -> str:
    """Name a beat: ``3``, ``2½``, ``4⅓``; off those by what is near: ``4, just after``."""
    whole, rest = divmod(beat, 1)
    if rest in _PARTS:
        return f"{whole}{_PARTS[rest]}"
    if rest < _NEAR:
        return f"{whole}, just after"
    return f"{whole + 1}, just before" if rest > 1 - _NEAR else f"{whole}½ or so"


@dataclass(frozen=True, slots=True)
class Location:
    """A place as a player would say it."""

    bar: str
    bar_index: int  # from 1
    beat: Fraction  # from 1, in units of the metre's denominator
    onset: Fraction  # quarter notes from the start of the written score

    def __str__(self) -> str:
        return f"{bar_name(self.bar)}, beat {beat_name(self.beat)}"


@dataclass(frozen=True, slots=True)
class Note:
    """A sounding note: everything tied into it belongs to it.

    ``onset`` and ``duration`` in quarter notes; ``pitch`` sounding; ``staff`` from 1 (top);
    ``marks`` from: staccato staccatissimo accent fermata arpeggiate non-arpeggiate harmonic
    tremolo trill mordent turn glissando slide let-ring tie-only; beside an ornament inverted (a
    mordent upwards), above-flat, below-sharp and the like; loud under a sign from f on. A grace
    note has duration 0 and the onset of the note it leans on. ``source_ids`` names the note itself
    and the duplicates of it (same part, onset and pitch) that the reader joined into it. ``chord``
    numbers the written chord: notes of one voice with one stem share it.
    """

    id: NoteId
    part: str
    measure: int  # index from 0 into Score.measures
    onset: Fraction
    duration: Fraction
    pitch: Pitch
    staff: int = 1
    voice: str = "1"
    grace: bool = False
    marks: frozenset[str] = frozenset()
    source_ids: tuple[NoteId, ...] = ()
    chord: int = 0

    @property
    def midi(self) -> int:
        """MIDI number of the sounding pitch."""
        return self.pitch.midi

    @property
    def end(self) -> Fraction:
        """Where the written duration ends, in quarter notes."""
        return self.onset + self.duration


@dataclass(frozen=True, slots=True)
class Measure:
    """One written bar; ``number`` as printed (it can repeat), ``index`` from 0."""

    index: int
    number: str
    onset: Fraction
    duration: Fraction
    beats: int = 4
    beat_type: int = 4
    fifths: int = 0  # key signature of the arranged (or first) part

    @property
    def unit(self) -> Fraction:
        """Quarter notes of a beat: the metre's lower number, three of them in a compound metre."""
        compound = self.beats % 3 == 0 and self.beats > 3 and self.beat_type >= 8
        return Fraction(12 if compound else 4, self.beat_type)


@dataclass(frozen=True, slots=True)
class TempoMark:
    """From ``onset`` on, ``bpm`` quarter notes a minute; ``origin``: number, word or assumed.

    ``beat``: the beat of the metre there, in quarter notes.
    """

    onset: Fraction
    bpm: Fraction
    origin: str = "number"
    beat: Fraction = Fraction(1)


@dataclass(frozen=True, slots=True)
class Slower:
    """From ``start`` to ``end`` the music lasts ``times`` as long as the tempo says."""

    start: Fraction
    end: Fraction
    times: Fraction


@dataclass(frozen=True)
class TempoMap:
    """Tempo marks in order; the first stands at onset 0. ``slower``: where it gives way."""

    marks: tuple[TempoMark, ...]
    slower: tuple[Slower, ...] = ()

    @cached_property
    def _stretches(self) -> tuple[list[float], list[float], list[float]]:
        """Of every mark its onset, the seconds a quarter note lasts, and when it comes."""
        starts = [float(mark.onset) for mark in self.marks]
        paces = [60.0 / float(mark.bpm) for mark in self.marks]
        times = [0.0]
        for (start, after), pace in zip(pairwise(starts), paces, strict=False):
            times.append(times[-1] + (after - start) * pace)
        return starts, paces, times

    @property
    def assumed(self) -> bool:
        """True if the score gives neither a number nor a known tempo word at its start."""
        return self.marks[0].origin == "assumed"

    def seconds(self, onset: Fraction) -> float:
        """Seconds from the start of the written score to ``onset``."""
        return self._strict(onset) + sum(
            [float(s.times - 1) * (self._strict(min(onset, s.end)) - self._strict(s.start))
             for s in self.slower if s.start < onset])

    def _strict(self, onset: Fraction) -> float:
        starts, paces, times = self._stretches
        place = float(onset)
        at = max(bisect_right(starts, place) - 1, 0)
        return times[at] + (place - starts[at]) * paces[at]

    def scaled(self, bpm: Fraction) -> TempoMap:
        """Return the map with ``bpm`` as the opening tempo and the rest in proportion."""
        ratio = bpm / self.marks[0].bpm
        first, *rest = (replace(m, bpm=m.bpm * ratio) for m in self.marks)
        return TempoMap((replace(first, origin="number"), *rest), self.slower)


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the source; ``instrument`` is a sound id or instrument name where given."""

    id: str
    name: str
    staves: int = 1
    instrument: str = ""


@dataclass(frozen=True, slots=True)
class Score:
    """A read score. ``notes`` are ordered by onset, then pitch; cue notes are left out.

    ``playing_order`` lists measure indices as performed, repeats and jumps unfolded. ``added``:
    the notes that the source has not, put in before the score was arranged. ``slowing``: where
    words slow the music down, which ``tempo`` does not heed.
    """

    title: str
    parts: tuple[Part, ...]
    measures: tuple[Measure, ...]
    notes: tuple[Note, ...]
    tempo: TempoMap
    playing_order: tuple[int, ...] = ()
    added: frozenset[NoteId] = frozenset()
    slowing: tuple[Slower, ...] = ()

    @property
    def jumps(self) -> tuple[tuple[int, int], ...]:
        """Bars that follow one another in playing order and not as they are written, each once."""
        return tuple(sorted({(before, after) for before, after in pairwise(self.playing_order)
                             if after != before + 1}))

    def measure_at(self, onset: Fraction) -> Measure:
        """Bar in which ``onset`` falls (the last bar for onsets past the end)."""
        at = bisect_right(self.measures, onset, key=lambda m: m.onset)
        return self.measures[max(at - 1, 0)]

    def locate(self, onset: Fraction, measure: int | None = None) -> Location:
        """Place of an onset in printed bars and beats."""
        bar = self.measure_at(onset) if measure is None else self.measures[measure]
        beat = 1 + (onset - bar.onset) * bar.beat_type / 4
        return Location(bar.number, bar.index + 1, beat, onset)

    def part_notes(self, part: str) -> tuple[Note, ...]:
        """Notes of one part, in order."""
        return tuple(n for n in self.notes if n.part == part)

    def source_notes(self, part: str) -> tuple[Note, ...]:
        """Notes of one part that stand in the source, in order."""
        return tuple(n for n in self.notes if n.part == part and n.id not in self.added)
