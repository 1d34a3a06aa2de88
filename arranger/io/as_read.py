"""What a draft of several players' parts looks like to who reads it from the page.

There a chord has one stem and one staccato for notes of several players, voices are two a staff,
and a note lasts as long as they can hold it.
"""

from __future__ import annotations

from collections.abc import Mapping

from arranger.io.document import Document
from arranger.io.musicxml_read import read
from arranger.io.musicxml_tree import parse
from arranger.io.musicxml_write import write
from arranger.model.draft import Draft
from arranger.model.score import Note, NoteId


def as_read(document: Document, draft: Draft) -> Mapping[NoteId, Note]:
    """Return the notes of a draft as they are read once it is written, by their ids in the draft.

    Their own ids are those of the page, and so is the moment of a grace that no note follows, which
    goes by the note before it. ``document``: the score that the draft is of. Where two voices would
    change a note nothing is gathered; where that would too, no note is returned.
    """
    meant = {n.id: (n.pitch, n.source.grace or n.onset) for n in draft.notes}
    for gathered in (True, False):
        xml = write(document, draft, (), "none", "none", layout=False, gathered=gathered)
        page = read(parse(xml, "draft.musicxml"), "draft.musicxml", (draft.part,))
        found = {page.elements[ident][0].get("id", ""): note
                 for note in page.score.notes for ident in note.source_ids or (note.id,)}
        notes = {ident: note for ident, note in found.items() if ident in meant}
        if {ident: (n.pitch, n.grace or n.onset) for ident, n in notes.items()} == meant:
            return notes
    return {}
