"""The notes an ornament sign stands for besides the one it is written at.

Usual rules (common practice): a trill and an inverted mordent take the note above, a mordent the
one below, a turn both; each as the key has it, or as the same line last stood in the bar, unless a
sign at the ornament says otherwise.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from arranger.io.write_keys import alter_in
from arranger.model.draft import Draft
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


def wishes(draft: Draft, parts: Sequence[Slice], price: int) -> tuple[tuple[Wish, ...], ...]:
    """What the ornaments of a draft ask of the pedals, slice by slice.

    Notes plucked as they are written count. A trill goes on while its note lasts, so its price is
    shared among the slices under it; other ornaments are over at once. Strings without disc ask
    nothing.
    """
    bars: dict[int, list[Note]] = {}
    for note in draft.source.part_notes(draft.part):
        bars.setdefault(note.measure, []).append(note)
    found: list[list[Wish]] = [[] for _ in parts]
    for at, here in enumerate(parts):
        for played in here.notes:
            note = played.source
            if note.grace or played.pitch != note.pitch or not note.marks & ORNAMENTS:
                continue
            last = next((k for k in range(at + 1, len(parts)) if parts[k].onset >= note.end),
                        len(parts)) if "trill" in note.marks else at + 1
            for other in auxiliaries(note, bars[note.measure],
                                     draft.source.measures[note.measure].fifths):
                if abs(other.alter) <= 1 and HarpString.of(other) not in draft.plan.fixed:
                    for k in range(at, last):
                        found[k].append(Wish(other, -(-price // (last - at))))
    return tuple(map(tuple, found))
