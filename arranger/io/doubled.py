"""Parts laid together: which notes each gave, and which several gave alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from lxml import etree

from arranger.io.document import Document
from arranger.io.musicxml_read import read
from arranger.model.score import Note, NoteId


@dataclass(frozen=True, slots=True)
class LaidTogether:
    """What became of several parts in one.

    ``doubled``: each note with the id of a twin given up, once for every twin, for one harp
    strikes once what several parts strike alike. ``lines``: the parts behind each note.
    """

    doubled: tuple[tuple[Note, NoteId], ...] = ()
    lines: Mapping[NoteId, tuple[str, ...]] = field(default_factory=dict)


def laid_together(root: etree._Element, chosen: Sequence[str], document: Document,
                  part: str) -> LaidTogether:
    """Find the notes of several source parts in the one part that holds them all.

    Parameters
    ----------
    root : the source as it came; ``chosen`` names the arranged parts in it.
    document : read from the tree in which they are the one part ``part``.
    """
    if len(chosen) < 2:
        return LaidTogether()
    apart = read(root, document.name).score
    struck: dict[tuple[Fraction, int, bool], list[str]] = {}
    for ident in chosen:
        for note in apart.part_notes(ident):
            struck.setdefault((note.onset, note.midi, note.grace), []).append(ident)
    here = document.score.part_notes(part)
    found = {n.id: struck.get((n.onset, n.midi, n.grace), []) for n in here}
    twins = tuple((note, twin) for note in here if not note.grace
                  for twin in note.source_ids[1:len(found[note.id])])
    return LaidTogether(twins, {i: tuple(dict.fromkeys(parts)) for i, parts in found.items()})
