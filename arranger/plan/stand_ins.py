"""Which other note of the harmony may stand in for one that cannot be had."""

from __future__ import annotations

from arranger.model.draft import HarpNote
from arranger.plan.roles import Role
from arranger.plan.slices import Slice

#: Semitones within which another note of the harmony may stand in (assumption).
NEAR = 4


def stand_ins(note: HarpNote, here: Slice, role: Role) -> tuple[int, ...]:
    """MIDI pitches of the harmony near the note, nearest first.

    They lie inside the outer voices, or inwards of the note where it is one of these, and are not
    struck already. What sounds a semitone off is no other note of the chord: one of the two leans
    on the other (F sharp on the G of a chord of G), and changing places would make another chord.
    """
    midi = note.pitch.midi
    struck = {n.pitch.midi for n in here.notes}
    low, high = min(struck), max(struck)
    near = sorted(range(midi - NEAR, midi + NEAR + 1), key=lambda m: (abs(m - midi), m))
    leaning = {(midi + way) % 12 for way in (-1, 0, 1)}
    return tuple(m for m in near if m not in struck and m % 12 in role.harmony - leaning and (
        low < m < high or (midi == high and m > low) or (midi == low and m < high)))
