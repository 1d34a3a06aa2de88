"""Put a draft on the strings that a path chose, with a reason for every change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from arranger.model.draft import Draft, HarpNote
from arranger.model.harp import PEDALS, HarpString, pedal_word
from arranger.model.ledger import Alteration, Drop, Merge, Repitch, Respell
from arranger.model.pitch import Pitch
from arranger.model.score import NoteId
from arranger.plan.pedal_path import PedalPath
from arranger.plan.roles import Role
from arranger.plan.slices import Slice, in_order

STAGE = "strings"


def put_on_strings(draft: Draft, parts: Sequence[Slice], path: PedalPath,
                   part_roles: Mapping[NoteId, Role],
                   losses: Mapping[NoteId, Alteration] | None = None) -> Draft:
    """Apply a path. ``losses``: entries of notes that are left out for other reasons."""
    kept: list[HarpNote] = []
    made: list[Alteration] = []
    for at, (here, row) in enumerate(zip(parts, path.taken, strict=True)):
        struck: dict[HarpString, NoteId] = {}
        for note, way in zip(here.notes, row, strict=True):
            if way is None:
                made.append((losses or {}).get(note.id) or Alteration(
                    Drop(note.id), "P1", STAGE,
                    _why(note, at, parts, path, draft, part_roles)))
                continue
            string = HarpString.of(way.pitch)
            if string in struck and not note.source.grace:
                made.append(Alteration(Merge(note.id, struck[string]), "T3", STAGE,
                                       f"{way.pitch.label} is plucked already"))
                continue
            if not note.source.grace:
                struck[string] = note.id
            made += _change(note, way.pitch, at, parts, path, draft, part_roles)
            kept.append(replace(note, pitch=way.pitch))
    return replace(draft, notes=tuple(in_order(kept)), ledger=draft.ledger.plus(*made))


def _change(note: HarpNote, pitch: Pitch, at: int, parts: Sequence[Slice], path: PedalPath,
            draft: Draft, part_roles: Mapping[NoteId, Role]) -> list[Alteration]:
    if pitch == note.pitch:
        return []
    if pitch.midi != note.pitch.midi:
        why = _why(note, at, parts, path, draft, part_roles)
        return [Alteration(Repitch(note.id, pitch), "T2", STAGE, why)]
    if abs(note.pitch.alter) > 1:
        why = f"no string gives {note.pitch.label}; {pitch.label} is the string to pluck"
    else:
        why = f"plucked on the {pitch.step} string: {_stands(note.pitch.step, at, path)}"
    return [Alteration(Respell(note.id, pitch), "N1", STAGE, why)]


def _stands(step: str, at: int, path: PedalPath) -> str:
    position = path.states[at][PEDALS.index(step)] - 1
    return f"the {step} pedal stands at {pedal_word(step, position)}"


def _why(note: HarpNote, at: int, parts: Sequence[Slice], path: PedalPath, draft: Draft,
         part_roles: Mapping[NoteId, Role]) -> str:
    """Say which pedal is not free, and for which note near by."""
    step = note.pitch.step
    position = path.states[at][PEDALS.index(step)] - 1
    near = sorted(range(max(0, at - 24), min(len(parts), at + 25)), key=lambda i: (abs(i - at), i))
    for other in near:
        for way in path.taken[other]:
            if way and way.pitch.step == step and way.pitch.alter == position:
                where = draft.source.locate(parts[other].onset)
                return (f"{part_roles[note.id].word} {note.pitch.label}: the {step} pedal stands "
                        f"at {pedal_word(step, position)} for {way.pitch.label} in {where}")
    return (f"{part_roles[note.id].word} {note.pitch.label}: "
            f"{_stands(step, at, path)} and cannot be moved in time")
