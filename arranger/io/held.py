"""Places where a tie lets a note go on, and ties taken away so that it is struck again there."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from fractions import Fraction

from lxml import etree

from arranger.io.document import Document
from arranger.io.write_divisions import divisions_by_measure, placed
from arranger.io.write_order import drop_tie
from arranger.model.score import Note


@dataclass(frozen=True, slots=True)
class HeldOn:
    """A note that goes on at ``onset``, in quarter notes, by a tie to ``element``."""

    note: Note
    onset: Fraction
    element: etree._Element
    before: etree._Element


def held_on(document: Document, part: str) -> tuple[HeldOn, ...]:
    """Return every place of a part where a note goes on by a tie, in order of time."""
    onsets = dict(_onsets(document, part))
    found = [HeldOn(note, onsets[element], element, chain[at])
             for note in document.score.part_notes(part)
             for ident in dict.fromkeys((note.id, *note.source_ids))
             for chain in [document.elements[ident]]
             for at, element in enumerate(chain[1:])]
    return tuple(sorted(found, key=lambda h: (h.onset, h.note.midi)))


def _onsets(document: Document, part: str) -> Iterator[tuple[etree._Element, Fraction]]:
    (tree,) = [p for p in document.root.iterfind("part") if p.get("id") == part]
    for bar, (measure, divisions) in zip(document.score.measures, divisions_by_measure(tree),
                                         strict=False):
        yield from ((child, bar.onset + at / divisions) for at, child in placed(measure)
                    if child.tag == "note")


def untie(places: Collection[HeldOn]) -> None:
    """Take the ties away, in the tree itself, so that each note is struck where it went on."""
    for place in places:
        drop_tie(place.before, "start")
        drop_tie(place.element, "stop")
