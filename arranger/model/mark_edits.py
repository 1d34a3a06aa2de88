"""Edits of the pedal and lever marks of a part, offered beside the edits of its notes."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from arranger.model.ledger import Edit
from arranger.model.pitch import Pitch


@dataclass(frozen=True, slots=True)
class InsertMark:
    """Write the mark that sets ``pedal`` to ``alter`` at ``onset`` (quarter notes)."""

    onset: Fraction
    pedal: str
    alter: int


@dataclass(frozen=True, slots=True)
class MoveMark:
    """Move the mark of ``pedal`` that stands at ``onset`` to the moment ``to``."""

    onset: Fraction
    pedal: str
    alter: int
    to: Fraction


@dataclass(frozen=True, slots=True)
class RemoveMark:
    """Take away the mark of ``pedal`` that stands at ``onset``."""

    onset: Fraction
    pedal: str


@dataclass(frozen=True, slots=True)
class InsertLever:
    """Write the mark that sets the lever of the string of ``pitch`` to it at ``onset``."""

    onset: Fraction
    pitch: Pitch


@dataclass(frozen=True, slots=True)
class RemoveLever:
    """Take away the mark of ``pitch``, with or without its octave, that stands at ``onset``."""

    onset: Fraction
    pitch: Pitch


@dataclass(frozen=True, slots=True)
class Unsign:
    """Take away a sign from a note: tremolo, harmonic, trill, arpeggiate, staccato ..."""

    note: str
    sign: str


#: Edits of written marks.
MarkEdit = InsertMark | MoveMark | RemoveMark | InsertLever | RemoveLever
PartEdit = Edit | MarkEdit | Unsign
#: Edits that leave every pitch as it sounds.
KIND_OF_MARK: dict[type, str] = {InsertMark: "insert-mark", MoveMark: "move-mark",
                                 RemoveMark: "remove-mark", InsertLever: "insert-lever",
                                 RemoveLever: "remove-lever", Unsign: "remove-sign"}
