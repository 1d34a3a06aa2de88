"""Fingers and staves as they stand in a part, by note."""

from __future__ import annotations

from collections.abc import Mapping

from arranger.io.document import Document
from arranger.model.score import NoteId


def written_fingers(document: Document, part: str) -> Mapping[NoteId, int]:
    """Return the written finger 1-4 of each note that has exactly one."""
    found: dict[NoteId, int] = {}
    for note in document.score.part_notes(part):
        element = document.elements[note.id][0]
        signs = [s.text or "" for s in element.iterfind("notations/technical/fingering")]
        if len(signs) == 1 and signs[0].strip() in ("1", "2", "3", "4"):
            found[note.id] = int(signs[0])
    return found


def written_staves(document: Document, part: str) -> Mapping[NoteId, tuple[int, ...]]:
    """Return the staves of the notes that stand on more than one: doubles the reader joined."""
    found: dict[NoteId, tuple[int, ...]] = {}
    for note in document.score.part_notes(part):
        if len(note.source_ids) > 1:
            texts = [document.elements[i][0].findtext("staff") or "1" for i in note.source_ids]
            found[note.id] = tuple(int(t) for t in texts)
    return found
