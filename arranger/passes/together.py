"""Strings, pedals, hands and fingers of a draft, weighed together (see ``plan.joint``)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from arranger.model.draft import Draft
from arranger.model.harp import PEDALS
from arranger.model.ledger import Alteration
from arranger.model.score import NoteId
from arranger.passes.in_hands import loss_reasons, put_in_hands, set_scene
from arranger.passes.on_strings import pedal_words, put_on_strings
from arranger.passes.piece import Ground, Piece, lay_out, pinned
from arranger.passes.settings import Settings
from arranger.plan.joint import plan
from arranger.plan.recall import Recall
from arranger.plan.roles import Role
from arranger.plan.universe import LOST
from arranger.plan.whole import Plan


@dataclass(frozen=True, slots=True)
class Planned:
    """The draft on strings and in hands, the settings pinned at barlines, prices by term."""

    draft: Draft
    pins: Mapping[Fraction, tuple[int, ...]]
    cost: Mapping[str, int]
    bound: int
    stays: int


def plan_together(ground: Ground, settings: Settings, proof: int, recall: Recall) -> Planned:
    """Choose strings, stand-ins, omissions, hands and fingers at the least price of all.

    ``proof``: work on proving how near to the least it is, in shares of the usual. ``recall``: of
    an earlier plan on the same ground.
    """
    draft, part_roles = ground.draft, ground.roles
    piece = lay_out(ground, settings, recall)
    pins = pinned(draft, piece, settings, recall)
    scene = set_scene(draft, piece.parts, piece.ways, piece.ends, part_roles, settings, recall)
    best = plan(scene, settings.player, settings.prices, piece.by_slice(pins),
                prove=proof, recall=recall)
    losses = _losses(best, piece, part_roles, settings)
    strung = put_on_strings(draft, piece.parts, best.pedals.taken,
                            pedal_words(draft, piece.parts, best.pedals, part_roles), losses)
    notes = piece.price(best.pedals)
    cost = {"notes": notes, "pedals": best.pedal_total - notes, "hands": best.hand_total}
    return Planned(put_in_hands(strung, piece.parts, best.hands), pins, cost, best.bound,
                   best.stays)


def _losses(best: Plan, piece: Piece, part_roles: Mapping[NoteId, Role],
            settings: Settings) -> dict[NoteId, Alteration]:
    """Entries of the notes that are left out though the pedals would give them."""
    found: dict[NoteId, Alteration] = {}
    for t, (here, row) in enumerate(zip(piece.parts, best.ways, strict=True)):
        if LOST not in row:
            continue
        state = best.pedals.states[t]
        reasons = loss_reasons(piece.parts, t, part_roles, settings)
        for note, way, ways, reason in zip(here.notes, row, piece.ways[t], reasons, strict=True):
            given = ways.free or any(state[PEDALS.index(w.pitch.step)] == w.pitch.alter + 1
                                     for w in ways.ways[:ways.spelled])
            if way == LOST and given and not note.source.grace:
                found[note.id] = reason
    return found
