"""Notes that several arranged parts strike alike, and that one harp strikes once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from lxml import etree

from arranger.io.document import Document
from arranger.io.musicxml_read import read
from arranger.model.score import Note, NoteId


def doubled(root: etree._Element, chosen: Sequence[str], document: Document,
            part: str) -> tuple[tuple[Note, NoteId], ...]:
    """Return each note of the harp part with the id of a twin given up, once for every twin.

    Parameters
    ----------
    root : the source as it came; ``chosen`` names the arranged parts in it.
    document : read from the tree in which they are the one part ``part``.
    """
    if len(chosen) < 2:
        return ()
    apart = read(root, document.name).score
    struck = Counter((n.onset, n.midi) for i in chosen for n in apart.part_notes(i) if not n.grace)
    return tuple((note, twin) for note in document.score.part_notes(part) if not note.grace
                 for twin in note.source_ids[1:struck[note.onset, note.midi]])
