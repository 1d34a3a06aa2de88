"""What each note is to the music: tune, bass, third or seventh, doubling; and its worth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise

from arranger.model.draft import HarpNote
from arranger.model.score import NoteId

#: Triads and sevenths by the intervals over their root, commonest first (METRICS A5 names the
#: 24 triads and sevenths; the order among equals is common practice).
_CHORDS = ((0, 4, 7), (0, 3, 7), (0, 4, 7, 10), (0, 3, 7, 10), (0, 3, 6, 9), (0, 3, 6, 10),
           (0, 4, 7, 11), (0, 3, 6), (0, 4, 8))


@dataclass(frozen=True, slots=True)
class Role:
    """Part a note plays.

    ``tune`` and ``bass``: quarter notes for which it is the highest or lowest sounding note;
    ``doubled``: its pitch class sounds in another octave at its onset;
    ``colour``: it is the third or seventh of the harmony; ``alone``: nothing else is struck with
    it in its hand; ``harmony``: the pitch classes sounding at its onset.
    """

    tune: Fraction
    bass: Fraction
    doubled: bool
    colour: bool
    alone: bool
    harmony: frozenset[int]

    @property
    def word(self) -> str:
        """Name of the role for a reader."""
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


def roles(notes: Sequence[HarpNote]) -> Mapping[NoteId, Role]:
    """Roles of all notes of the arranged part, grace notes included."""
    struck = [n for n in notes if not n.source.grace]
    tune: dict[NoteId, Fraction] = {n.id: Fraction(0) for n in notes}
    bass = dict(tune)
    moments = sorted({n.onset for n in notes} | {n.source.end for n in struck})
    starts: dict[Fraction, list[HarpNote]] = {m: [] for m in moments}
    for note in struck:
        starts[note.onset].append(note)
    sounding: list[HarpNote] = []
    held: dict[Fraction, tuple[HarpNote, ...]] = {}
    for here, after in pairwise([*moments, moments[-1] if moments else Fraction(0)]):
        sounding = [n for n in sounding if n.source.end > here] + starts[here]
        held[here] = tuple(sounding)
        if not sounding:
            continue
        length = after - here
        top = max(sounding, key=lambda n: (n.pitch.midi, n.onset))
        low = min(sounding, key=lambda n: (n.pitch.midi, -n.onset))
        tune[top.id] += length
        bass[low.id] += length
    return {n.id: _role(n, held[n.onset], tune[n.id], bass[n.id]) for n in notes}


def _role(note: HarpNote, sounding: tuple[HarpNote, ...], tune: Fraction,
          bass: Fraction) -> Role:
    pc = note.pitch.pitch_class
    others = [n for n in sounding if n.id != note.id]
    classes = frozenset(n.pitch.pitch_class for n in sounding)
    return Role(
        tune=tune, bass=bass,
        doubled=any(n.pitch.pitch_class == pc for n in others),
        colour=pc in colour_tones(classes),
        alone=not any(n.onset == note.onset and n.source.staff == note.source.staff
                      for n in others),
        harmony=classes)
