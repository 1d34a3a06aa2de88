"""A source held in two forms: the tree it came as and the score read from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from lxml import etree

from arranger.model.score import NoteId, Score


@dataclass(frozen=True, slots=True)
class Document:
    """MusicXML tree (score-partwise) and the score read from it.

    ``elements`` maps every note id (joined duplicates too) to its ``<note>`` elements: the struck
    one first, then those tied to it in order. ``name`` is the file's name for messages.
    """

    root: etree._Element
    score: Score
    elements: Mapping[NoteId, tuple[etree._Element, ...]]
    name: str = ""
