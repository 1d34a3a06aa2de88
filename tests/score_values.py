"""What the judge's reader finds in a score: notes, marks, bars, tempo."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

STEPS = "CDEFGAB"
SEMITONES = dict(zip(STEPS, (0, 2, 4, 5, 7, 9, 11), strict=True))
_FIFTHS = dict(zip("FCGDAEB", range(-1, 6), strict=True))


@dataclass(frozen=True, slots=True)
class Note:
    """A sounding note, ties joined; the spelling is the sounding one (transposition applied).

    A grace note has duration 0 and the onset at which it is written. ``tie_only``: it carries a
    tie from nowhere (second endings). ``chord`` numbers the written chord inside the part.
    """

    part: str
    bar_index: int  # from 0
    bar: str
    onset: Fraction
    duration: Fraction
    step: str
    alter: int
    octave: int
    midi: int
    staff: int = 1
    voice: str = "1"
    grace: bool = False
    arpeggiate: bool = False
    non_arpeggiate: bool = False
    fingers: tuple[int, ...] = ()
    tie_only: bool = False
    fifths: int = 0
    chord: int = 0

    @property
    def position(self) -> int:
        """Diatonic place, 7 times the octave plus 0-6 for C-B: on the harp, the string."""
        return 7 * self.octave + STEPS.index(self.step)

    @property
    def end(self) -> Fraction:
        """Where the joined note ends."""
        return self.onset + self.duration

    @property
    def name(self) -> str:
        """Spelling such as F#4."""
        return f"{self.step}{'#' * self.alter}{'b' * -self.alter}{self.octave}"

    @property
    def line_of_fifths(self) -> int:
        """Place on the line of fifths, C = 0."""
        return _FIFTHS[self.step] + 7 * self.alter


@dataclass(frozen=True, slots=True)
class Mark:
    """Words, a setting of pedals or a damping sign (with the words beside it as its text).

    ``direction`` numbers the direction it stands in.
    """

    part: str
    onset: Fraction
    kind: str  # words | pedals | damp | damp-all
    text: str
    enclosure: str
    staff: int
    direction: int
    setting: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Bar:
    """One written bar."""

    index: int
    number: str
    onset: Fraction
    duration: Fraction
    beats: int
    beat_type: int


@dataclass(frozen=True, slots=True)
class Score:
    """Everything the judge needs of a file. ``parts`` holds (id, name); ``order`` bar indices."""

    parts: tuple[tuple[str, str], ...]
    bars: tuple[Bar, ...]
    notes: tuple[Note, ...]
    marks: tuple[Mark, ...]
    tempo: tuple[tuple[Fraction, Fraction], ...]
    tempo_assumed: bool
    order: tuple[int, ...]

    def part_id(self, name: str) -> str:
        """Id of the part of this name (or id); the last of that name wins."""
        for key, label in reversed(self.parts):
            if name in (label, key):
                return key
        raise KeyError(f"no part {name!r}; parts: {', '.join(n for _, n in self.parts)}")

    def part_notes(self, names: Iterable[str]) -> tuple[Note, ...]:
        """Notes of the named parts, each name used once for each part of that name."""
        wanted = set(names)
        return tuple(n for n in self.notes if n.part in wanted or self.name(n.part) in wanted)

    def name(self, part: str) -> str:
        """Printed name of a part."""
        return dict(self.parts)[part]

    def bar_at(self, onset: Fraction) -> Bar:
        """Bar in which an onset falls."""
        return self.bars[max(bisect_right(self.bars, onset, key=lambda b: b.onset) - 1, 0)]

    def seconds(self, onset: Fraction) -> float:
        """Seconds from the start of the written score."""
        total = 0.0
        for i, (start, bpm) in enumerate(self.tempo):
            last = i + 1 == len(self.tempo) or self.tempo[i + 1][0] >= onset
            stop = onset if last else self.tempo[i + 1][0]
            total += float(stop - start) * 60.0 / float(bpm)
            if last:
                break
        return total

    def scaled(self, bpm: Fraction) -> Score:
        """Same score with ``bpm`` as its opening tempo, later marks in proportion."""
        ratio = bpm / self.tempo[0][1]
        return replace(self, tempo=tuple((o, b * ratio) for o, b in self.tempo))


def joined(notes: Iterable[Note]) -> tuple[Note, ...]:
    """Join duplicates of one part at one onset and pitch, the longest kept; graces stay apart."""
    best: dict[tuple[str, Fraction, int, bool], Note] = {}
    for note in notes:
        key = (note.part, note.onset, note.midi, note.grace)
        held = best.get(key)
        if held is None or note.duration > held.duration:
            best[key] = note
    return tuple(sorted(best.values(), key=lambda n: (n.onset, n.midi)))
