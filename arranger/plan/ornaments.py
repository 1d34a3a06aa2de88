"""The notes an ornament sign stands for besides the one it is written at.

Usual rules (common practice): a trill and an inverted mordent take the note above, a mordent the
one below, a turn both; each as the key has it, or as the same line last stood in the bar, unless a
sign at the ornament says otherwise.
"""

from __future__ import annotations

from collections.abc import Iterable

from arranger.io.write_keys import alter_in
from arranger.model.pitch import STEPS, Pitch
from arranger.model.score import Note

_SIGNS = {"flat": -1, "natural": 0, "sharp": 1}
_UP, _DOWN = 1, -1


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
