"""Hands and fingers where the strings stand: nobody plucks what a hand cannot hold."""

from __future__ import annotations

from dataclasses import dataclass, replace

from arranger.model.draft import Draft
from arranger.passes.in_hands import loss_reasons, put_in_hands, set_scene
from arranger.passes.settings import Settings
from arranger.plan.hand_search import HandSearch
from arranger.plan.pedal_path import Way, Ways
from arranger.plan.recall import Recall
from arranger.plan.roles import roles
from arranger.plan.slices import slices
from arranger.plan.universe import LOST
from arranger.plan.worth import worth


@dataclass(frozen=True, slots=True)
class Handed:
    """The draft in two hands, and the price of the path."""

    draft: Draft
    total: int


def give_hands(draft: Draft, settings: Settings) -> Handed:
    """Give notes whose strings stand to hands and fingers, exactly (see ``plan.hand_search``)."""
    part_roles = roles(draft.notes)
    parts = slices(draft.notes, draft.source.tempo)
    ways = tuple(tuple(Ways((Way(n.pitch, 0),), worth(n, part_roles[n.id], settings.prices).drop)
                       for n in s.notes) for s in parts)
    scene = set_scene(draft, parts, ways, (), part_roles, settings, Recall())
    base = [[0] * len(s.notes) for s in parts]
    search = HandSearch(scene, base, settings.player, settings.prices)
    lost = {t: {(i, LOST): w.drop for i, w in enumerate(row)} for t, row in enumerate(ways)}
    total, picked = search.solve(lost, search.search)
    taken = [search.ways(t, c, base[t]) for t, c in enumerate(picked)]
    losses = {note.id: reason for t, row in enumerate(taken) for note, way, reason in zip(
        parts[t].notes, row, loss_reasons(parts, t, part_roles, settings), strict=True)
        if way == LOST}
    kept = replace(draft, notes=tuple(n for n in draft.notes if n.id not in losses),
                   ledger=draft.ledger.plus(*losses.values()))
    return Handed(put_in_hands(kept, parts, picked), total)
