"""Give every note its string, with the pedals that allow it, at the least price."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from arranger.model.draft import Draft, HarpNote
from arranger.model.harp import PEDALS, Harp, HarpString, pedal_word
from arranger.model.ledger import Alteration, Drop, Merge, Repitch, Respell
from arranger.model.pitch import Pitch
from arranger.model.score import NoteId
from arranger.passes.compass import usable
from arranger.passes.jumps import barline_groups, barlines
from arranger.passes.settings import Settings
from arranger.plan.pedal_path import PedalPath, Way, Ways, pedal_path
from arranger.plan.pinned import pinned_ways
from arranger.plan.roles import Role, roles
from arranger.plan.slices import Slice, clock, in_order, slices
from arranger.plan.stand_ins import stand_ins
from arranger.plan.worth import worth

STAGE = "strings"


@dataclass(frozen=True, slots=True)
class Strung:
    """The draft on strings, the settings pinned at barlines, and the price of the path."""

    draft: Draft
    pins: Mapping[Fraction, tuple[int, ...]]
    total: int
    notes_price: int


def give_strings(draft: Draft, settings: Settings) -> Strung:
    """Choose strings, stand-ins and omissions exactly (see ``plan.pedal_path``).

    Where the piece repeats, the setting at the entry of a repeated section is taken from the
    unconstrained run, pinned at every barline from which or to which the music jumps, and the
    piece is solved again.
    """
    part_roles = roles(draft.notes)
    groups = barlines(draft.source, barline_groups(draft.source))
    parts = _with_barlines(slices(draft.notes, draft.source.tempo), draft, groups)
    ways = [[_ways(n, s, part_roles[n.id], draft, settings) for n in s.notes] for s in parts]
    ends = [clock(draft.source.tempo, [n.source.end for n in s.notes]) for s in parts]
    path = pedal_path(parts, ways, ends, settings.player, settings.prices)
    pins: dict[Fraction, tuple[int, ...]] = {}
    if groups:
        at = {s.onset: i for i, s in enumerate(parts)}
        pins = {onset: _possible(path.states[at[min(group)]], settings.harp)
                for group in groups for onset in group}
        path = pedal_path(parts, ways, ends, settings.player, settings.prices,
                          {at[o]: state for o, state in pins.items()})
    price = sum(w.price if w else ways[i][j].drop
                for i, row in enumerate(path.taken) for j, w in enumerate(row))
    return Strung(_apply(draft, parts, path, part_roles), pins, path.total, price)


def _possible(state: tuple[int, ...], harp: Harp) -> tuple[int, ...]:
    """Positions this harp has: an idle letter may rest at one it lacks (single-action harp)."""
    return tuple(harp.nearest(step, position - 1) + 1
                 for step, position in zip(PEDALS, state, strict=True))


def _with_barlines(parts: tuple[Slice, ...], draft: Draft,
                   groups: Sequence[Sequence[Fraction]]) -> tuple[Slice, ...]:
    known = {s.onset for s in parts}
    extra = sorted({o for g in groups for o in g} - known)
    times = clock(draft.source.tempo, extra)
    empty = [Slice(o, t, ()) for o, t in zip(extra, times, strict=True)]
    return tuple(sorted((*parts, *empty), key=lambda s: s.onset))


def _ways(note: HarpNote, here: Slice, role: Role, draft: Draft, settings: Settings) -> Ways:
    fixed = draft.plan.fixed
    value = worth(note, role, settings.prices)
    pin = settings.pins.of(note.id)
    options = usable(note.pitch.midi, settings.harp, fixed)
    free = [p for p in options if HarpString.of(p) in fixed]
    if free:
        only = Way(free[0], 0 if free[0] == note.pitch else settings.prices["respell"])
        return pinned_ways(Ways((only,), value.drop, free=True), pin, note.pitch, value,
                           settings.prices)
    spelled = sorted(options, key=lambda p: (p != note.pitch, abs(p.alter), p))
    ways = [Way(p, 0 if i == 0 else settings.prices["respell"]) for i, p in enumerate(spelled)]
    if not note.source.grace:
        ways += [Way(p, value.other) for midi in stand_ins(note, here, role)
                 for p in usable(midi, settings.harp, fixed) if HarpString.of(p) not in fixed]
    return pinned_ways(Ways(tuple(ways), value.drop, len(spelled)), pin, note.pitch, value,
                       settings.prices)


def _apply(draft: Draft, parts: Sequence[Slice], path: PedalPath,
           part_roles: Mapping[NoteId, Role]) -> Draft:
    kept: list[HarpNote] = []
    made: list[Alteration] = []
    for at, (here, row) in enumerate(zip(parts, path.taken, strict=True)):
        struck: dict[HarpString, NoteId] = {}
        for note, way in zip(here.notes, row, strict=True):
            if way is None:
                made.append(Alteration(Drop(note.id), "P1", STAGE,
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
