"""The first draft: every note of the arranged part as written, hands by staff."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from arranger.model.draft import Draft, HarpNote
from arranger.model.score import Note, NoteId, Score

HANDS = {1: "R", 2: "L"}
_AS_MEANT: Mapping[NoteId, Note] = {}


def start(score: Score, part: str) -> Draft:
    """Take the notes of ``part`` as they stand."""
    notes = tuple(HarpNote(n, n.pitch, HANDS.get(n.staff, "L"), None, "arpeggiate" in n.marks)
                  for n in score.part_notes(part))
    return Draft(score, part, notes)


def as_source(draft: Draft, read: Mapping[NoteId, Note] = _AS_MEANT) -> Score:
    """Score that the draft would be read back as: the same bars, its notes as the part.

    ``read``: notes, by their ids in the draft, that are known to read otherwise than by staff.
    """
    others = tuple(n for n in draft.source.notes if n.part != draft.part)
    mine = tuple(replace(read[n.id], id=n.id, source_ids=n.source.source_ids)
                 if n.id in read else _written(n) for n in draft.notes)
    notes = sorted((*others, *mine), key=lambda n: (n.onset, n.midi, n.part, n.id))
    return replace(draft.source, notes=tuple(notes))


def on_source(notes: Iterable[HarpNote], score: Score, part: str) -> tuple[HarpNote, ...]:
    """The notes of a draft as those of the score that they came from."""
    origin = {n.id: n for n in score.part_notes(part)}
    return tuple(replace(n, source=origin[n.id]) for n in notes)


def _written(note: HarpNote) -> Note:
    """Note as written: staff is hand, a chord shared between the hands is two chords."""
    marks = note.source.marks - {"arpeggiate"} | ({"arpeggiate"} if note.rolled else set())
    return replace(note.source, pitch=note.pitch, staff=1 if note.hand == "R" else 2,
                   marks=frozenset(marks), chord=2 * note.source.chord + (note.hand == "L"))
