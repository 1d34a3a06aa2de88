"""What each note is to the music: tune, bass, third or seventh, doubling; and its worth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from math import lcm
from typing import NamedTuple

from arranger.model.draft import HarpNote
from arranger.model.score import NoteId

#: Triads and sevenths by the intervals over their root, commonest first (the
#: order among equals is common practice).
_CHORDS = ((0, 4, 7), (0, 3, 7), (0, 4, 7, 10), (0, 3, 7, 10), (0, 3, 6, 9), (0, 3, 6, 10),
           (0, 4, 7, 11), (0, 3, 6), (0, 4, 8))


@dataclass(frozen=True, slots=True)
class Role:
    """Part a note plays.

    ``tune`` and ``bass``: quarter notes for which it is the highest or lowest sounding note; the
    highest of those that are sung is tune too;
    ``doubled``: its pitch class sounds in another octave at its onset, and it is not the one note
    that stands for it: of those struck together with none held, one is never a doubling;
    ``colour``: it is the third or seventh of the harmony; ``alone``: nothing else is struck with
    it in its hand; ``harmony``: the pitch classes sounding at its onset; ``floor`` and ``ceiling``:
    MIDI numbers of the highest bass and the lowest tune while it sounds.
    """

    tune: Fraction
    bass: Fraction
    doubled: bool
    colour: bool
    alone: bool
    harmony: frozenset[int]
    floor: int = 0
    ceiling: int = 127
    grace: bool = False

    @property
    def word(self) -> str:
        """Name of the role for a reader."""
        if self.grace:
            return "grace note"
        if self.tune:
            return "tune note"
        if self.bass:
            return "bass note"
        if self.doubled:
            return "doubling"
        return "third or seventh" if self.colour else "inner note"


@lru_cache(maxsize=4096)
def colour_tones(classes: frozenset[int]) -> frozenset[int]:
    """Third and seventh over the likeliest root of these pitch classes (empty below three)."""
    if len(classes) < 3:
        return frozenset()
    best: tuple[int, int, int] | None = None
    for rank, chord in enumerate(_CHORDS):
        for root in range(12):
            tones = {(root + i) % 12 for i in chord}
            score = 2 * len(classes & tones) - len(tones - classes) - len(classes - tones)
            key = (-score, rank, root)
            if best is None or key < best:
                best = key
    assert best is not None
    root, chord = best[2], _CHORDS[best[1]]
    return frozenset((root + i) % 12 for i in (*chord[1:2], *chord[3:]))


def _before(one: HarpNote, other: HarpNote, leads: Mapping[NoteId, int]) -> bool:
    """Tell which of two notes of one name stands for it: what leads longer, then the higher."""
    return ((leads[one.id], one.pitch.midi, one.id)
            > (leads[other.id], other.pitch.midi, other.id))


def roles(notes: Sequence[HarpNote]) -> Mapping[NoteId, Role]:
    """Roles of all notes of the arranged part, grace notes included."""
    grid = lcm(*{t.denominator for n in notes for t in (n.source.onset, n.source.duration)})
    struck = [_Held(n, *_ticks(n, grid)) for n in notes if not n.source.grace]
    tune = dict.fromkeys((n.id for n in notes), 0)
    bass = dict(tune)
    places = {n.id: _ticks(n, grid)[0] for n in notes}
    starts: dict[int, list[_Held]] = {place: [] for place in places.values()}
    for held in struck:
        starts[held.start].append(held)
    moments = sorted(starts.keys() | {h.end for h in struck})
    floor, ceiling = dict(tune), dict.fromkeys(tune, 127)
    sounding: list[_Held] = []
    heard: dict[int, tuple[HarpNote, ...]] = {}
    for here, after in pairwise([*moments, moments[-1] if moments else 0]):
        sounding = [h for h in sounding if h.end > here] + starts.get(here, [])
        heard[here] = tuple(h.note for h in sounding)
        if sounding:
            top = max(sounding, key=lambda h: (h.midi, h.start))
            sung = max(sounding, key=lambda h: (h.note.sung, h.midi, h.start))
            low = min(sounding, key=lambda h: (h.midi, -h.start))
            for leading in {top.note.id, sung.note.id}:
                tune[leading] += after - here
            bass[low.note.id] += after - here
            for ident in (h.note.id for h in sounding):
                floor[ident] = max(floor[ident], low.midi)
                ceiling[ident] = min(ceiling[ident], top.midi)
    leads = {n.id: tune[n.id] + bass[n.id] for n in notes}
    return {n.id: _role(n, heard[places[n.id]], Fraction(tune[n.id], grid),
                        Fraction(bass[n.id], grid), leads, floor[n.id], ceiling[n.id])
            for n in notes}


class _Held(NamedTuple):
    """A note with its start and end on a common grid."""

    note: HarpNote
    start: int
    end: int

    @property
    def midi(self) -> int:
        return self.note.pitch.midi


def _ticks(note: HarpNote, grid: int) -> tuple[int, int]:
    """Start and end of a note in whole parts of a quarter note."""
    onset, duration = note.source.onset, note.source.duration
    start = onset.numerator * (grid // onset.denominator)
    return start, start + duration.numerator * (grid // duration.denominator)


def _role(note: HarpNote, sounding: tuple[HarpNote, ...], tune: Fraction, bass: Fraction,
          leads: Mapping[NoteId, int], floor: int, ceiling: int) -> Role:
    pc = note.pitch.pitch_class
    others = [n for n in sounding if n.id != note.id]
    alike = [n for n in others if n.pitch.pitch_class == pc]
    classes = frozenset(n.pitch.pitch_class for n in sounding)
    return Role(
        tune=tune, bass=bass,
        doubled=bool(alike) and (
            note.source.grace or any(n.onset < note.onset for n in alike)
            or any(_before(n, note, leads) for n in alike)),
        colour=pc in colour_tones(classes), grace=note.source.grace,
        alone=not any(n.onset == note.onset and n.source.staff == note.source.staff
                      for n in others),
        harmony=classes, floor=floor, ceiling=ceiling)
