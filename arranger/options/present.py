"""The solution that a harp part already holds: strings, hands and fingers as they are written."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from arranger.model.harp import Harp
from arranger.model.marks import PedalMark
from arranger.model.pins import PedalPin, Pin, Pins
from arranger.model.pitch import Pitch
from arranger.model.score import Note, NoteId, Score
from arranger.passes.start import HANDS


def present_pins(score: Score, part: str, harp: Harp, fingers: Mapping[NoteId, int],
                 staves: bool = True) -> Pins:
    """Pin every note to its string, hand and finger.

    Parameters
    ----------
    fingers : written fingerings by note.
    staves : whether the staff tells the hand (a part of one staff does not).
    """
    return Pins(MappingProxyType({
        n.id: Pin(_strings(n, harp), hand=HANDS.get(n.staff, "L") if staves and not n.grace else "",
                  finger=fingers.get(n.id)) for n in score.part_notes(part)}))


def _strings(note: Note, harp: Harp) -> tuple[Pitch, ...]:
    """The written string; any that sounds the note where there is no such string."""
    return (note.pitch,) if harp.gives(note.pitch) else harp.spellings(note.midi)


def with_marks(pins: Pins, marks: tuple[PedalMark, ...]) -> Pins:
    """Add the moments at which pedals are written to move (whole settings say no moment)."""
    moves = tuple(PedalPin(letter, alter, m.onset) for m in marks if not m.full
                  for letter, alter in m.alters.items())
    return pins.plus(Pins(pedals=moves))


def loosened(present: Pins, score: Score, part: str, harp: Harp, asked: Pins) -> Pins:
    """The player's solution, but that what is struck with the notes asked about is free.

    A note set free still sounds at its pitch, on whichever string and in whichever hand. Pedals
    move when they like where anything is asked.
    """
    if not asked:
        return present
    written = {n.id: n for n in score.part_notes(part)}
    moments = {written[n].onset for n in asked.notes if n in written}
    notes = dict(present.notes)
    for ident, note in written.items():
        if note.onset in moments and ident in notes:
            notes[ident] = Pin(harp.spellings(note.midi))
    for ident in asked.notes:
        notes.pop(ident, None)
    return Pins(MappingProxyType(notes))
