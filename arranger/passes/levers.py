"""Give every note its string on a lever harp, and move the levers where the left hand is free."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

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
from arranger.plan.lever_time import LeftHand, Moment, free_moments
from arranger.plan.pedal_path import Ways
from arranger.plan.roles import Role, roles
from arranger.plan.slices import Slice, slices

_EPS = 1e-4  # seconds by which two times may differ and still be one


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
    words = _words(draft, parts, path, part_roles, settings)
    own = {n.id: n for n in draft.notes}
    parts = tuple(replace(s, notes=tuple(own[n.id] for n in s.notes)) for s in parts)
    strung = put_on_strings(draft, parts, path.taken, words)
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
    """Say it of levers; the parts with the hands that the path was found for."""
    reasons = _Reasons(draft, parts, path, part_roles, settings)
    return Words("levers", "K1", reasons.lost, reasons.respelled)


class _Reasons:
    """Says for which note near by a string stands otherwise, and why its lever is not moved."""

    def __init__(self, draft: Draft, parts: Sequence[Slice], path: LeverPath,
                 part_roles: Mapping[NoteId, Role], settings: Settings) -> None:
        self._draft = draft
        self._parts = parts
        self._path = path
        self._roles = part_roles
        self._harp = settings.harp
        self._player = settings.player

    def lost(self, note: HarpNote, at: int) -> str:
        """Why a note cannot be had as written."""
        role = self._roles[note.id]
        word = f"{role.word} {note.pitch.label}: "
        found = [(other, pitch) for p in self._harp.spellings(note.pitch.midi)
                 for other, pitch in self._otherwise(p, at)]
        if not found:
            return f"{word}no lever stands for it, and none can be moved in time"
        found.sort(key=lambda each: abs(each[0] - at))
        if found[0][0] == at:
            return f"{word}{found[0][1].label} is plucked on the same string at once"
        tails = [self._in_between(at, other, pitch) for other, pitch in found]
        (_, tail), (other, pitch) = min(zip(tails, found, strict=True), key=lambda both: both[0][0])
        if not tail:
            tail = (" and moving it in between would cost other notes" if role.tune or role.bass
                    else "; moving it for this note costs more than the note is worth")
        return f"{word}{self._stands(other, pitch)}{tail}"

    def respelled(self, note: HarpNote, pitch: Pitch, at: int) -> str:
        """Why a note stands on another string than written."""
        if not self._harp.gives(note.pitch):
            return f"no string gives {note.pitch.label}; {pitch.label} is the string to pluck"
        told = f"plucked on the {pitch.step} string, whose lever stands for it"
        near = min(self._otherwise(note.pitch, at), key=lambda e: abs(e[0] - at), default=None)
        return f"{told}: {self._stands(*near)}" if near else told

    def _otherwise(self, pitch: Pitch, at: int) -> list[tuple[int, Pitch]]:
        """The nearest slices before (or at) and after in which the string has another pitch."""
        sides: dict[bool, tuple[int, Pitch]] = {}
        for other in nearest(at, len(self._parts)):
            for way in self._path.taken[other]:
                if way and way.pitch.position == pitch.position and way.pitch != pitch:
                    sides.setdefault(other <= at, (other, way.pitch))
        return list(sides.values())

    def _stands(self, other: int, pitch: Pitch) -> str:
        where = self._draft.source.locate(self._parts[other].onset)
        return (f"the lever of {HarpString.of(pitch)} stands at "
                f"{pedal_word(pitch.step, pitch.alter)} for {where}")

    def _in_between(self, at: int, other: int, pitch: Pitch) -> tuple[int, str]:
        """What hinders a move between two slices, the hardest reason first; 2 and "" if nothing."""
        start, end = sorted((self._parts[at].seconds, self._parts[other].seconds))
        need = self._player.lever_move_seconds
        free = [m.seconds for m in self._moments
                if start - _EPS <= m.seconds and m.seconds + need <= end + _EPS]
        if not free:
            return 0, ", and the left hand is not free to move it in between"
        busy = [m for m in self._path.moves if m.string != HarpString.of(pitch)]
        left = [time for time in free if all(abs(m.seconds - time) >= need - _EPS for m in busy)]
        if left:
            return 2, ""
        first = next(m for m in busy if abs(m.seconds - free[0]) < need - _EPS)
        return 1, f"; in between the left hand moves the lever of {first.string}"

    @cached_property
    def _moments(self) -> tuple[Moment, ...]:
        """When the left hand is free for a lever."""
        times = tuple(s.seconds for s in self._parts if any(n.hand == "L" for n in s.notes))
        jumps = [onset for group in barlines(self._draft.source, barline_groups(
            self._draft.source)) for onset in group]
        return free_moments(self._draft.source, [s.onset for s in self._parts],
                            LeftHand(times, (0,) * len(times)), jumps, self._player)
