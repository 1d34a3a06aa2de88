"""A draft laid out for the searches: slices, roles, and every way of every note."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import partial

import numpy as np

from arranger.io.write_keys import alter_in
from arranger.model.draft import Draft, HarpNote
from arranger.model.harp import PEDALS, Harp, HarpString
from arranger.model.score import NoteId
from arranger.passes.compass import usable
from arranger.passes.jumps import barline_groups, barlines
from arranger.passes.settings import Settings
from arranger.plan.ornaments import ORNAMENTS, Wish, wishes
from arranger.plan.pedal_path import PedalPath, PedalSearch, Way, Ways, hurried
from arranger.plan.pinned import pinned_ways
from arranger.plan.recall import Recall
from arranger.plan.roles import Role, roles
from arranger.plan.settings import key_setting
from arranger.plan.slices import Slice, clock, slices
from arranger.plan.stand_ins import stand_ins
from arranger.plan.timing import Use
from arranger.plan.worth import worth

#: Notes struck together from which on they are read as a chord.
_CHORD = 3


@dataclass(frozen=True, slots=True)
class Ground:
    """What the plan of a draft rests on, whatever was decided beforehand.

    ``parts``: slices, barlines of jumps among them; ``ends``: seconds at which their notes end.
    """

    draft: Draft
    roles: Mapping[NoteId, Role]
    parts: tuple[Slice, ...]
    ends: tuple[tuple[float, ...], ...]

    @classmethod
    def of(cls, draft: Draft) -> Ground:
        """Cut a draft into slices and tell what each note is to the music."""
        tempo = draft.source.tempo
        groups = barlines(draft.source, barline_groups(draft.source))
        parts = _with_barlines(slices(draft.notes, tempo), draft, groups)
        return cls(draft, roles(draft.notes), parts,
                   tuple(tuple(clock(tempo, [n.source.end for n in s.notes])) for s in parts))


@dataclass(frozen=True, slots=True)
class Piece:
    """Slices of a draft with the ways and ends of their notes, as the ground has them.

    ``wishes``: what the ornaments of each slice ask of the pedals.
    """

    parts: tuple[Slice, ...]
    ways: tuple[tuple[Ways, ...], ...]
    ends: tuple[tuple[float, ...], ...]
    wishes: tuple[tuple[Wish, ...], ...]

    def by_slice(self, pins: Mapping[Fraction, tuple[int, ...]]) -> dict[int, tuple[int, ...]]:
        """Pins by index of the slice."""
        return {i: pins[s.onset] for i, s in enumerate(self.parts) if s.onset in pins}

    def met(self, states: Sequence[tuple[int, ...]]) -> tuple[Use, ...]:
        """What ornaments ask and these settings give, a use of the pedal each."""
        return tuple(Use(here.onset, w.pitch.step, w.pitch.alter, here.onset, w.pitch.midi)
                     for here, asked, state in zip(self.parts, self.wishes, states, strict=True)
                     for w in asked if state[PEDALS.index(w.pitch.step)] == w.pitch.alter + 1)

    def price(self, path: PedalPath) -> int:
        """What the notes cost: respelled, replaced, left out."""
        return sum(w.price if w else self.ways[i][j].drop
                   for i, row in enumerate(path.taken) for j, w in enumerate(row))


def lay_out(ground: Ground, settings: Settings, recall: Recall) -> Piece:
    """Prepare a draft for the pedal search. ``recall``: of the same ground under other pins."""
    rows = []
    for at, part in enumerate(ground.parts):
        pins = tuple(settings.pins.of(n.id) for n in part.notes)
        rows.append(recall.get(("ways", at, pins), partial(_row, part, ground, settings)))
    asked = recall.get("wishes", lambda: wishes(ground.draft, ground.parts,
                                                settings.prices["ornament"]))
    return Piece(ground.parts, tuple(rows), ground.ends, asked)


def pinned(draft: Draft, piece: Piece, settings: Settings,
           recall: Recall) -> dict[Fraction, tuple[int, ...]]:
    """Settings at the barlines of jumps: one for every group of barlines."""
    groups = barlines(draft.source, barline_groups(draft.source))
    if not groups:
        return {}
    return recall.get(("stands", *map(id, piece.ways)), lambda: (
        _stands(groups, draft, piece, settings, recall), piece.ways))[0]


def _stands(groups: Sequence[Sequence[Fraction]], draft: Draft, piece: Piece, settings: Settings,
            recall: Recall) -> dict[Fraction, tuple[int, ...]]:
    """The settings of groups of barlines.

    Of the settings at which an unconstrained plan passes them, and those of the key, the cheapest
    is taken, group by group; all barlines of a group stand alike. Then each pedal is tried where
    its string is wanted first after a barline: a move costs the same before a jump or after it,
    but after it there is less time, and a diagram shows what is not played next.
    """
    at = {s.onset: i for i, s in enumerate(piece.parts)}
    keys = {onset: _possible(_of_key(draft, onset), settings.harp)
            for group in groups for onset in group}
    search = PedalSearch(piece.parts, piece.ways, piece.ends, settings.player, settings.prices,
                         settings=keys.values(), recall=recall, wishes=piece.wishes)
    search = search.knowing(recall.find("barlines"))
    recall.keep("barlines", search)
    free = search.cheapest(piece.ways)
    wanted = _first_wanted(piece, free, at, {onset for group in groups for onset in group})
    pins: dict[Fraction, tuple[int, ...]] = {}

    def price(group: Sequence[Fraction], state: tuple[int, ...]) -> int:
        return search.least(piece.ways, piece.by_slice(
            pins | dict.fromkeys(group, state))) + sum(
                _after_jump(first.seconds, settings) for onset in group
                for pedal, first in wanted[onset].items() if state[pedal] != first.position)

    for group in groups:
        passed = [free.states[at[onset]] for onset in sorted(group)]
        tried = {_possible(state, settings.harp): 0
                 for state in (*passed, *(keys[onset] for onset in sorted(group)))}
        for state in tried:
            tried[state] = price(group, state)
        best = min(tried, key=tried.__getitem__)
        least = tried[best]
        for pedal, position in sorted({(pedal, first.position) for onset in sorted(group)
                                       for pedal, first in wanted[onset].items()}):
            state = (*best[:pedal], position, *best[pedal + 1:])
            if state not in tried:
                tried[state] = price(group, state)
                if tried[state] < least:
                    best, least = state, tried[state]
        pins |= dict.fromkeys(group, best)
    return pins


@dataclass(frozen=True, slots=True)
class _First:
    """Where a pedal is wanted first after a barline, and after how many seconds."""

    position: int
    seconds: float


def _first_wanted(piece: Piece, path: PedalPath, at: Mapping[Fraction, int],
                  joined: Collection[Fraction]) -> dict[Fraction, dict[int, _First]]:
    """First use of each pedal after every joined barline, up to the next."""
    found: dict[Fraction, dict[int, _First]] = {}
    for onset in joined:
        firsts = found[onset] = {}
        for rank in range(at[onset], len(piece.parts)):
            here = piece.parts[rank]
            if here.onset != onset and here.onset in joined:
                break
            for ways, way in zip(piece.ways[rank], path.taken[rank], strict=True):
                if way is not None and not ways.free:
                    firsts.setdefault(PEDALS.index(way.pitch.step), _First(
                        way.pitch.alter + 1, here.seconds - piece.parts[at[onset]].seconds))
    return found


def _after_jump(wait: float, settings: Settings) -> int:
    """Price of a pedal that moves after a jump, ``wait`` seconds before its string is plucked."""
    return round(settings.prices["after_jump"]
                 + float(hurried(np.array(wait), settings.player, settings.prices)))


def _of_key(draft: Draft, onset: Fraction) -> tuple[int, ...]:
    """Positions of the key signature from a barline on (at the end: of the last bar)."""
    bars = draft.source.measures
    here = next((m for m in bars if m.onset >= onset), bars[-1])
    return tuple(alter + 1 for alter in key_setting(here.fifths).alters)


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


def _row(here: Slice, ground: Ground, settings: Settings) -> tuple[Ways, ...]:
    return tuple(_ways(n, here, ground.roles[n.id], ground.draft, settings) for n in here.notes)


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
    plain = note.pitch.alter in (0, alter_in(
        draft.source.measures[note.source.measure].fifths, note.pitch.step))
    hides = (plain and len(here.notes) >= _CHORD) or bool(note.source.marks & ORNAMENTS)
    other = settings.prices["respell_chord" if hides else "respell"]
    ways = [Way(p, 0 if i == 0 else other) for i, p in enumerate(spelled)]
    if not note.source.grace:
        ways += [Way(p, value.other) for midi in stand_ins(note, here, role)
                 for p in usable(midi, settings.harp, fixed) if HarpString.of(p) not in fixed]
    return pinned_ways(Ways(tuple(ways), value.drop, len(spelled)), pin, note.pitch, value,
                       settings.prices)
