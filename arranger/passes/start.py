"""The first draft: every note of the arranged part as written, hands by staff."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction

from arranger.model.draft import Draft, HarpNote
from arranger.model.score import Note, NoteId, Score
from arranger.plan.ornaments import ORNAMENTS

HANDS = {1: "R", 2: "L"}


def start(score: Score, part: str) -> Draft:
    """Take the notes of ``part`` as they stand."""
    notes = tuple(HarpNote(n, n.pitch, HANDS.get(n.staff, "L"), None, "arpeggiate" in n.marks)
                  for n in score.part_notes(part))
    return Draft(score, part, notes)


def as_source(draft: Draft) -> Score:
    """Score that the draft would be read back as: the same bars, its notes as the part."""
    others = tuple(n for n in draft.source.notes if n.part != draft.part)
    mine = tuple(_written(n) for n in draft.notes)
    notes = sorted((*others, *mine), key=lambda n: (n.onset, n.midi, n.part, n.id))
    return replace(draft.source, notes=tuple(notes))


def one_ornament(score: Score, part: str) -> Score:
    """Leave each hand, of the ornaments of notes struck together, the highest note's.

    So they are written where several players become one (``io.write_two_voices``).
    """
    last: dict[tuple[Fraction, int], NoteId] = {}
    for note in sorted(score.part_notes(part), key=lambda n: n.pitch.position):
        if note.marks & ORNAMENTS and not note.grace:
            last[note.onset, note.staff] = note.id
    return replace(score, notes=tuple(
        replace(n, marks=n.marks - ORNAMENTS) if n.part == part and n.marks & ORNAMENTS
        and not n.grace and last[n.onset, n.staff] != n.id else n for n in score.notes))


def on_source(notes: Iterable[HarpNote], score: Score, part: str) -> tuple[HarpNote, ...]:
    """The notes of a draft as those of the score that they came from."""
    origin = {n.id: n for n in score.part_notes(part)}
    return tuple(replace(n, source=origin[n.id]) for n in notes)


def _written(note: HarpNote) -> Note:
    """Note as written: staff is hand, a chord shared between the hands is two chords."""
    marks = note.source.marks - {"arpeggiate"} | ({"arpeggiate"} if note.rolled else set())
    return replace(note.source, pitch=note.pitch, staff=1 if note.hand == "R" else 2,
                   marks=frozenset(marks), chord=2 * note.source.chord + (note.hand == "L"))
