"""Give every note its string on a lever harp, and move the levers where the left hand is free."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from arranger.model.draft import Draft, HarpNote
from arranger.model.harp import HarpString, pedal_word
from arranger.model.ledger import Alteration, Drop, Merge, Repitch, Respell
from arranger.model.levers import LeverPlan
from arranger.model.pitch import Pitch
from arranger.model.score import NoteId
from arranger.passes.jumps import barline_groups, barlines
from arranger.passes.settings import Settings
from arranger.plan.lever_path import (
    LeverPath,
    lever_path,
    lever_ways,
    whole_opening,
    written_ways,
)
from arranger.plan.pedal_path import Ways
from arranger.plan.roles import Role, roles
from arranger.plan.slices import Slice, in_order, slices

STAGE = "levers"


@dataclass(frozen=True, slots=True)
class Levered:
    """The draft on strings, and the price of the path."""

    draft: Draft
    total: int
    notes_price: int


def give_levers(draft: Draft, settings: Settings, hands: Mapping[NoteId, str]) -> Levered:
    """Choose strings, stand-ins and omissions exactly (see ``plan.lever_path``).

    ``hands`` says which hand is to pluck each note: levers are moved by the left one.
    """
    expected = [replace(n, hand=hands.get(n.id, n.hand)) for n in draft.notes]
    parts = slices(expected, draft.source.tempo)
    part_roles = roles(draft.notes)
    ways = lever_ways(parts, part_roles, settings.harp, settings.prices)
    path = _path(draft, parts, ways, settings)
    own = {n.id: n for n in draft.notes}
    parts = tuple(replace(s, notes=tuple(own[n.id] for n in s.notes)) for s in parts)
    return Levered(_apply(draft, parts, path, part_roles, settings), path.total, path.notes_price)


def set_levers(draft: Draft, settings: Settings) -> Draft:
    """Write down opening and moves for a draft whose strings and hands stand.

    A note that a lever can no longer serve with these hands is left out.
    """
    part_roles = roles(draft.notes)
    parts = slices(draft.notes, draft.source.tempo)
    path = _path(draft, parts, written_ways(parts, part_roles, settings.prices), settings)
    done = _apply(draft, parts, path, part_roles, settings)
    opening = whole_opening(path.opening, settings.harp, draft.source.measures[0].fifths)
    return replace(done, levers=LeverPlan(opening, path.moves))


def _path(draft: Draft, parts: Sequence[Slice], ways: Sequence[Sequence[Ways]],
          settings: Settings) -> LeverPath:
    ties = barlines(draft.source, barline_groups(draft.source))
    return lever_path(parts, ways, draft.source, settings.harp, settings.player, settings.prices,
                      ties)


def _apply(draft: Draft, parts: Sequence[Slice], path: LeverPath,
           part_roles: Mapping[NoteId, Role], settings: Settings) -> Draft:
    kept: list[HarpNote] = []
    made: list[Alteration] = []
    for at, (here, row) in enumerate(zip(parts, path.taken, strict=True)):
        struck: dict[HarpString, NoteId] = {}
        for note, way in zip(here.notes, row, strict=True):
            if way is None:
                made.append(Alteration(Drop(note.id), "K1", STAGE, _why(
                    note, at, parts, path, draft, part_roles, settings)))
                continue
            string = HarpString.of(way.pitch)
            if string in struck and not note.source.grace:
                made.append(Alteration(Merge(note.id, struck[string]), "T3", STAGE,
                                       f"{way.pitch.label} is plucked already"))
                continue
            if not note.source.grace:
                struck[string] = note.id
            if way.pitch.midi != note.pitch.midi:
                made.append(Alteration(Repitch(note.id, way.pitch), "T2", STAGE,
                                       _why(note, at, parts, path, draft, part_roles, settings)))
            elif way.pitch != note.pitch:
                made.append(Alteration(Respell(note.id, way.pitch), "N1", STAGE,
                                       _respelled(note.pitch, way.pitch, settings)))
            kept.append(replace(note, pitch=way.pitch))
    return replace(draft, notes=tuple(in_order(kept)), ledger=draft.ledger.plus(*made))


def _respelled(old: Pitch, new: Pitch, settings: Settings) -> str:
    if not settings.harp.gives(old):
        return f"no string gives {old.label}; {new.label} is the string to pluck"
    return f"plucked on the {new.step} string, whose lever stands for it"


def _why(note: HarpNote, at: int, parts: Sequence[Slice], path: LeverPath, draft: Draft,
         part_roles: Mapping[NoteId, Role], settings: Settings) -> str:
    """Say for which note near by the lever of the string stands otherwise."""
    word = part_roles[note.id].word
    wanted = {p.position: p for p in settings.harp.spellings(note.pitch.midi)}
    near = sorted(range(max(0, at - 24), min(len(parts), at + 25)), key=lambda i: (abs(i - at), i))
    for other in near:
        for way in path.taken[other]:
            if way and wanted.get(way.pitch.position, way.pitch) != way.pitch:
                where = draft.source.locate(parts[other].onset)
                return (f"{word} {note.pitch.label}: the lever of {HarpString.of(way.pitch)} "
                        f"stands at {pedal_word(way.pitch.step, way.pitch.alter)} for {where}; "
                        f"between them the left hand is not free, or the note is not worth a "
                        f"lever")
    return f"{word} {note.pitch.label}: no lever stands for it, and none can be moved in time"
