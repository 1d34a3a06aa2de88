"""Apply ready edits to a part under examination."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from arranger.checks.case import Case, with_notes
from arranger.model.harp import PEDALS
from arranger.model.ledger import Drop, GiveToHand, Merge, OctaveShift, Repitch, Respell, Roll
from arranger.model.mark_edits import (
    InsertLever,
    InsertMark,
    MarkEdit,
    MoveMark,
    PartEdit,
    RemoveLever,
    RemoveMark,
    Unsign,
)
from arranger.model.marks import LeverMark, LeverSign, PedalMark
from arranger.model.pitch import Pitch
from arranger.model.score import Note, NoteId


def edited(case: Case, edits: Sequence[PartEdit], hands: bool = True) -> Case:
    """Return the case as it is with the edits applied; edits of other bars do nothing.

    ``hands``: False leaves out which hand takes what.
    """
    notes = {n.id: n for n in (*case.notes, *case.graces)}
    pedals, levers = list(case.marks.pedals), case.marks.levers
    fingers, staves = dict(case.fingers), dict(case.staves)
    for edit in edits:
        match edit:
            case InsertMark() | MoveMark() | RemoveMark():
                pedals = _marked(case, pedals, edit)
            case InsertLever(onset, pitch):
                sign = LeverSign(pitch.step, pitch.alter, pitch.octave)
                measure = case.score.measure_at(onset).index
                levers = (*levers, LeverMark(onset, measure, (sign,)))
            case RemoveLever(onset, pitch):
                levers = tuple(_without(m, pitch) if m.onset == onset else m for m in levers)
            case Unsign(note, "fingering"):
                fingers.pop(note, None)
            case Merge(note, into) if note not in notes:  # a double the reader joined
                staves.pop(into, None)
            case _:
                _change(notes, edit)
    marks = replace(case.marks, pedals=tuple(sorted(pedals, key=lambda m: m.onset)),
                    levers=tuple(sorted(levers, key=lambda m: m.onset)))
    return with_notes(replace(case, fingers=fingers, staves=staves), notes.values(), marks,
                      hands=hands)


def _change(notes: dict[NoteId, Note], edit: PartEdit) -> None:
    if isinstance(edit, MarkEdit) or edit.note not in notes:
        return
    note = notes[edit.note]
    match edit:
        case Drop() | Merge():
            del notes[edit.note]
        case Respell(_, pitch) | OctaveShift(_, pitch) | Repitch(_, pitch):
            notes[edit.note] = replace(note, pitch=pitch)
        case Roll():
            notes[edit.note] = replace(note, marks=note.marks | {"arpeggiate"})
        case Unsign(_, sign):
            notes[edit.note] = replace(note, marks=note.marks - {sign})
        case GiveToHand(_, hand):
            notes[edit.note] = replace(note, staff=1 if hand == "R" else 2)


def _without(mark: LeverMark, pitch: Pitch) -> LeverMark:
    return replace(mark, signs=tuple(s for s in mark.signs if (s.step, s.alter) != (
        pitch.step, pitch.alter) or s.octave not in (None, pitch.octave)))


def _marked(case: Case, pedals: list[PedalMark],
            edit: InsertMark | MoveMark | RemoveMark) -> list[PedalMark]:
    if isinstance(edit, InsertMark):
        return _inserted(case, pedals, edit.onset, edit.pedal, edit.alter)
    kept = []
    for mark in pedals:
        if mark.onset == edit.onset and edit.pedal in mark.alters and not mark.full:
            fewer = {p: a for p, a in mark.alters.items() if p != edit.pedal}
            kept += [replace(mark, alters=fewer)] if fewer else []
        else:
            kept.append(mark)
    if isinstance(edit, MoveMark):
        return _inserted(case, kept, edit.to, edit.pedal, edit.alter)
    return kept


def _inserted(case: Case, pedals: list[PedalMark], onset: Fraction, pedal: str,
              alter: int) -> list[PedalMark]:
    """Add a letter to what is marked at a moment; a setting shown there is put right."""
    here = [m for m in pedals if m.onset == onset]
    others = [m for m in pedals if m.onset != onset]
    if here:
        merged = {p: a for m in here for p, a in m.alters.items()} | {pedal: alter}
        full = any(m.full for m in here) or len(merged) == len(PEDALS)
        return [*others, replace(here[0], alters=merged, full=full)]
    measure = case.score.measure_at(onset).index
    return [*pedals, PedalMark(onset=onset, measure=measure, alters={pedal: alter}, full=False,
                               text="")]
