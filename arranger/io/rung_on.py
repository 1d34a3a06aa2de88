"""Strokes that were left out while their string still sounds: the stroke before rings on."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import NamedTuple

from arranger.model.draft import Draft
from arranger.model.pitch import Pitch
from arranger.model.score import Score


class LeftOut(NamedTuple):
    """A stroke left out: its sounding pitch, and its time in quarter notes of its bar."""

    midi: int
    onset: Fraction
    end: Fraction


def strokes_left_out(score: Score, draft: Draft) -> Mapping[int, tuple[LeftOut, ...]]:
    """Return the strokes of the draft's part that it leaves out, by bar.

    Where a pedal or lever changes a string of that pitch meanwhile, nothing can ring on.
    """
    kept = {note.id for note in draft.notes}
    moved = [(m.onset, Pitch(m.pedal, m.before, 4).pitch_class) for m in draft.plan.moves]
    if draft.levers is not None:
        moved += [(m.onset, Pitch(m.string.step, m.before, 4).pitch_class)
                  for m in draft.levers.moves]
    found: dict[int, list[LeftOut]] = {}
    for note in score.part_notes(draft.part):
        bar = score.measures[note.measure]
        end = min(note.end, bar.onset + bar.duration)
        if note.id not in kept and not note.grace and not any(
                note.onset <= at < end and pc == note.pitch.pitch_class for at, pc in moved):
            found.setdefault(note.measure, []).append(
                LeftOut(note.midi, note.onset - bar.onset, end - bar.onset))
    return {bar: tuple(sorted(strokes, key=lambda s: s.onset)) for bar, strokes in found.items()}
