"""Strings, pedals, hands and fingers of a draft, weighed together (see ``plan.joint``)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from arranger.model.draft import Draft, HarpNote
from arranger.model.harp import PEDALS
from arranger.model.ledger import Alteration
from arranger.model.pins import Pins
from arranger.model.score import NoteId
from arranger.passes.in_hands import loss_reasons, put_in_hands, set_scene
from arranger.passes.on_strings import pedal_words, put_on_strings
from arranger.passes.piece import Ground, Piece, lay_out, pinned
from arranger.passes.settings import Settings
from arranger.plan.joint import plan
from arranger.plan.part_hands import fault
from arranger.plan.pedal_path import Way
from arranger.plan.recall import Recall
from arranger.plan.roles import Role
from arranger.plan.slices import Slice
from arranger.plan.timing import Use
from arranger.plan.universe import LOST
from arranger.plan.whole import Plan, Start


@dataclass(frozen=True, slots=True)
class Planned:
    """The draft on strings and in hands, the settings pinned at barlines, prices by term.

    ``ornaments``: what these ask of the pedals and get.
    """

    draft: Draft
    pins: Mapping[Fraction, tuple[int, ...]]
    ornaments: tuple[Use, ...]
    cost: Mapping[str, int]
    bound: int
    stays: int


def plan_together(ground: Ground, settings: Settings, recall: Recall) -> Planned:
    """Choose strings, stand-ins, omissions, hands and fingers at the least price of all.

    ``recall``: of an earlier plan on the same ground.
    """
    draft, part_roles = ground.draft, ground.roles
    solved = _solved(ground, settings, recall)
    piece, best = solved.piece, solved.plan
    losses = _losses(best, piece, part_roles, settings)
    strung = put_on_strings(draft, piece.parts, best.pedals.taken,
                            pedal_words(draft, piece.parts, best.pedals, part_roles), losses)
    notes = piece.price(best.pedals)
    cost = {"notes": notes, "pedals": best.pedal_total - notes, "hands": best.hand_total}
    return Planned(put_in_hands(strung, piece.parts, best.hands), solved.pins,
                   piece.met(best.pedals.states), cost, best.bound, best.stays)


@dataclass(frozen=True, slots=True)
class _Solved:
    """The piece with its ways, the settings pinned at barlines, and the best plan."""

    piece: Piece
    pins: Mapping[Fraction, tuple[int, ...]]
    plan: Plan


def _solved(ground: Ground, settings: Settings, recall: Recall) -> _Solved:
    """Solve a piece; where something is pinned, from the plan of that without.

    So bargaining is over soon, but for what is near the pins.
    """
    free = recall.get("free", lambda: _planned(ground, replace(settings, pins=Pins()), recall))
    return _planned(ground, settings, recall, free) if settings.pins else free


def _planned(ground: Ground, settings: Settings, recall: Recall,
             free: _Solved | None = None) -> _Solved:
    """``free``: the same without any pin."""
    piece = lay_out(ground, settings, recall)
    pins = pinned(ground.draft, piece, settings, recall)
    scene = set_scene(ground.draft, piece.parts, piece.ways, piece.ends, ground.roles, settings,
                      recall)
    return _Solved(piece, pins, plan(
        scene, settings.player, settings.prices, piece.by_slice(pins),
        prove=settings.proof if free is None or settings.bounded else 0, recall=recall,
        wishes=piece.wishes, start=None if free is None else _start(free, piece)))


def _start(free: _Solved, piece: Piece) -> Start:
    """What holds of a plan without pins where the ways of the notes are the same."""
    same = [t for t, (row, other) in enumerate(zip(free.piece.ways, piece.ways, strict=True))
            if row == other]
    offers, ways = free.plan.offers, free.plan.ways
    return Start({t: offers[t] for t in same if t in offers}, {t: ways[t] for t in same})


def _losses(best: Plan, piece: Piece, part_roles: Mapping[NoteId, Role],
            settings: Settings) -> dict[NoteId, Alteration]:
    """Entries of the notes that are left out for the hands' sake.

    The pedals would give them, or no hand could hold them whatever the pedals do.
    """
    found: dict[NoteId, Alteration] = {}
    for t, (here, row) in enumerate(zip(piece.parts, best.ways, strict=True)):
        if LOST not in row:
            continue
        state = best.pedals.states[t]
        reasons = loss_reasons(piece.parts, t, part_roles, settings)
        for note, way, ways, reason in zip(here.notes, row, piece.ways[t], reasons, strict=True):
            given = ways.free or any(state[PEDALS.index(w.pitch.step)] == w.pitch.alter + 1
                                     for w in ways.ways[:ways.spelled])
            if way == LOST and not note.source.grace and (
                    given or _out_of_hand(note, here, best.pedals.taken[t], settings)):
                found[note.id] = reason
    return found


def _out_of_hand(note: HarpNote, here: Slice, taken: Sequence[Way | None],
                 settings: Settings) -> bool:
    """Tell whether no two hands could hold a note with what is plucked at that moment."""
    plucked = [replace(n.source, pitch=way.pitch) for n, way in zip(here.notes, taken, strict=True)
               if way is not None and not n.source.grace]
    return bool(fault([*plucked, note.source], settings.player))
