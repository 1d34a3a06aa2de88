"""The notes an ornament sign stands for besides the one it is written at.

Usual rules (common practice): a trill and an inverted mordent take the note above, a mordent the
one below, a turn both; each as the key has it, or as the same line last stood in the bar, unless a
sign at the ornament says otherwise.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from arranger.io.write_keys import alter_in
from arranger.model.draft import Draft, HarpNote
from arranger.model.harp import HarpString
from arranger.model.pitch import STEPS, Pitch
from arranger.model.score import Note
from arranger.plan.slices import Slice

_SIGNS = {"flat": -1, "natural": 0, "sharp": 1}
_UP, _DOWN = 1, -1
ORNAMENTS = frozenset({"trill", "turn", "mordent"})


@dataclass(frozen=True, slots=True)
class Wish:
    """A pitch that the pedals should give at a moment, and the price of doing without."""

    pitch: Pitch
    price: int


def auxiliaries(note: Note, bar: Iterable[Note], fifths: int) -> tuple[Pitch, ...]:
    """Return the notes beside its own that the ornament of a note needs, the upper first.

    Parameters
    ----------
    bar : the notes of its part in the same bar.
    fifths : the key signature in force.
    """
    ways = []
    if note.marks & {"trill", "turn"} or {"mordent", "inverted"} <= note.marks:
        ways.append(_UP)
    if "turn" in note.marks or ("mordent" in note.marks and "inverted" not in note.marks):
        ways.append(_DOWN)
    before = sorted((n for n in bar if n.onset <= note.onset and not n.grace),
                    key=lambda n: n.onset)
    return tuple(_beside(note, way, before, fifths) for way in ways)


def _beside(note: Note, way: int, before: Iterable[Note], fifths: int) -> Pitch:
    place = note.pitch.position + way
    step, octave = STEPS[place % 7], place // 7
    side = "above" if way == _UP else "below"
    said = [alter for name, alter in _SIGNS.items() if f"{side}-{name}" in note.marks]
    earlier = [n.pitch.alter for n in before
               if (n.pitch.step, n.pitch.octave) == (step, octave)]
    return Pitch(step, (said or earlier[-1:] or [alter_in(fifths, step)])[0], octave)


def ornamented(draft: Draft,
               notes: Iterable[HarpNote]) -> Iterator[tuple[HarpNote, tuple[Pitch, ...]]]:
    """Those of some notes of a draft that have an ornament, each with its auxiliaries."""
    bars: dict[int, list[Note]] = {}
    for note in draft.source.part_notes(draft.part):
        bars.setdefault(note.measure, []).append(note)
    for played in notes:
        if played.source.marks & ORNAMENTS:
            bar = played.source.measure
            yield played, auxiliaries(played.source, bars[bar], draft.source.measures[bar].fifths)


def wishes(draft: Draft, parts: Sequence[Slice], price: int) -> tuple[tuple[Wish, ...], ...]:
    """What the ornaments of a draft ask of the pedals, slice by slice.

    Notes plucked as they are written count. A trill goes on while its note lasts, so its price is
    shared among the slices under it; other ornaments are over at once. Strings without disc ask
    nothing.
    """
    onsets = [here.onset for here in parts]
    found: list[list[Wish]] = [[] for _ in parts]
    for played, others in ornamented(draft, (n for here in parts for n in here.notes)):
        note = played.source
        if note.grace or played.pitch != note.pitch:
            continue
        first = bisect_left(onsets, note.onset)
        last = bisect_left(onsets, note.end, first + 1) if "trill" in note.marks else first + 1
        for other in others:
            if abs(other.alter) <= 1 and HarpString.of(other) not in draft.plan.fixed:
                for at in range(first, last):
                    found[at].append(Wish(other, -(-price // (last - first))))
    return tuple(map(tuple, found))
