"""A risk: one thing that is hard at one place of a draft, in a sentence, with its weight."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from arranger.model.draft import Draft, HarpNote
from arranger.model.score import NoteId
from arranger.plan.slices import Slice, slices

HAND = {"R": "right", "L": "left"}
FINGER = {1: "thumb", 2: "second finger", 3: "third finger", 4: "fourth finger"}


@dataclass(frozen=True, slots=True)
class Risk:
    """What is hard: the kind, the weight by the planner's prices, where, and for which notes.

    ``notes``: those by which one decision could settle it, the likeliest first. ``form``: the same
    for the same risk elsewhere in the piece.
    """

    kind: str
    weight: int
    onset: Fraction
    notes: tuple[NoteId, ...]
    sentence: str
    form: tuple[object, ...]


def risk(kind: str, weight: float, at: HarpNote, notes: Sequence[HarpNote],
         sentence: str) -> Risk:
    """Make a risk at the moment of a note."""
    form = (kind, *((n.pitch.midi, n.hand) for n in notes))
    return Risk(kind, max(1, round(weight)), at.onset, tuple(n.id for n in notes), sentence, form)


def played(draft: Draft) -> tuple[Slice, ...]:
    """What the hands pluck, without grace notes."""
    return slices([n for n in draft.notes if not n.source.grace], draft.source.tempo)
