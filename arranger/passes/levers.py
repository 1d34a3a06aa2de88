"""Give every note its string on a lever harp, and move the levers where the left hand is free."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from arranger.model.draft import Draft, HarpNote
from arranger.model.harp import HarpString, pedal_word
from arranger.model.levers import LeverPlan
from arranger.model.pitch import Pitch
from arranger.model.score import NoteId
from arranger.passes.jumps import barline_groups, barlines
from arranger.passes.on_strings import Words, nearest, put_on_strings
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
from arranger.plan.slices import Slice, slices


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
    strung = put_on_strings(draft, parts, path.taken,
                            _words(draft, parts, path, part_roles, settings))
    return Levered(strung, path.total, path.notes_price)


def set_levers(draft: Draft, settings: Settings) -> Draft:
    """Write down opening and moves for a draft whose strings and hands stand.

    A note that a lever can no longer serve with these hands is left out.
    """
    part_roles = roles(draft.notes)
    parts = slices(draft.notes, draft.source.tempo)
    path = _path(draft, parts, written_ways(parts, part_roles, settings.prices), settings)
    done = put_on_strings(draft, parts, path.taken,
                          _words(draft, parts, path, part_roles, settings))
    opening = whole_opening(path.opening, settings.harp, draft.source.measures[0].fifths)
    return replace(done, levers=LeverPlan(opening, path.moves))


def _path(draft: Draft, parts: Sequence[Slice], ways: Sequence[Sequence[Ways]],
          settings: Settings) -> LeverPath:
    ties = barlines(draft.source, barline_groups(draft.source))
    return lever_path(parts, ways, draft.source, settings.harp, settings.player, settings.prices,
                      ties)


def _words(draft: Draft, parts: Sequence[Slice], path: LeverPath,
           part_roles: Mapping[NoteId, Role], settings: Settings) -> Words:
    """Say it of levers: for which note near by the lever of the string stands otherwise."""
    def why(note: HarpNote, at: int) -> str:
        word = part_roles[note.id].word
        wanted = {p.position: p for p in settings.harp.spellings(note.pitch.midi)}
        for other in nearest(at, len(parts)):
            for way in path.taken[other]:
                if way and wanted.get(way.pitch.position, way.pitch) != way.pitch:
                    where = draft.source.locate(parts[other].onset)
                    return (f"{word} {note.pitch.label}: the lever of {HarpString.of(way.pitch)} "
                            f"stands at {pedal_word(way.pitch.step, way.pitch.alter)} for {where}; "
                            f"between them the left hand is not free, or the note is not worth a "
                            f"lever")
        return f"{word} {note.pitch.label}: no lever stands for it, and none can be moved in time"

    def respelled(note: HarpNote, pitch: Pitch, _: int) -> str:
        if not settings.harp.gives(note.pitch):
            return f"no string gives {note.pitch.label}; {pitch.label} is the string to pluck"
        return f"plucked on the {pitch.step} string, whose lever stands for it"

    return Words("levers", "K1", why, respelled)
