"""No string is struck again faster than a finger can come back to it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from arranger.model.draft import Draft, HarpNote
from arranger.model.ledger import Alteration, Drop
from arranger.model.score import NoteId
from arranger.passes.settings import Settings
from arranger.plan.pinned import KEPT
from arranger.plan.roles import roles
from arranger.plan.slices import slices
from arranger.plan.worth import worth

STAGE = "repetition"


def thin_repeats(draft: Draft, settings: Settings) -> Draft:
    """Leave out notes so that no string is struck twice within the player's limit.

    On every string the dearest set of attacks that keeps the distance stays (exact, by string).
    """
    limit = settings.player.restrike_error_seconds
    by_string: dict[int, list[tuple[float, HarpNote]]] = {}
    for here in slices([n for n in draft.notes if not n.source.grace], draft.source.tempo):
        for note in here.notes:
            by_string.setdefault(note.pitch.position, []).append((here.seconds, note))
    fast = [attacks for attacks in by_string.values()
            if any(b - a < limit - 1e-6 for (a, _), (b, _) in pairwise(attacks))]
    if not fast:
        return draft
    part_roles = roles(draft.notes)
    gone: dict[NoteId, str] = {}
    for attacks in fast:
        kept = _keep([(time, KEPT if note.id in settings.pins.notes else
                       worth(note, part_roles[note.id], settings.prices).drop)
                      for time, note in attacks], limit)
        for at, (time, note) in enumerate(attacks):
            if at not in kept:
                near = min((abs(time - attacks[k][0]) for k in kept), default=limit)
                gone[note.id] = (f"{note.pitch.label}: the same string sounds {near:.2f} s away; "
                                 f"a finger needs {limit:.2f} s to pluck it again")
    made = [Alteration(Drop(n.id), "R1", STAGE, gone[n.id]) for n in draft.notes if n.id in gone]
    return replace(draft, notes=tuple(n for n in draft.notes if n.id not in gone),
                   ledger=draft.ledger.plus(*made))


def _keep(attacks: Sequence[tuple[float, int]], limit: float) -> frozenset[int]:
    """Indices of the dearest attacks that lie at least ``limit`` seconds apart."""
    best: list[tuple[int, int]] = []  # (price kept up to here if this one stays, one before)
    for at, (time, price) in enumerate(attacks):
        gain, before = 0, -1
        for other in range(at - 1, -1, -1):
            if time - attacks[other][0] >= limit - 1e-6:
                reach: Mapping[int, int] = {i: best[i][0] for i in range(other + 1)}
                before = max(reach, key=lambda i: (reach[i], -i))
                gain = reach[before]
                break
        best.append((gain + price, before))
    at = max(range(len(best)), key=lambda i: (best[i][0], -i))
    kept = set()
    while at >= 0:
        kept.add(at)
        at = best[at][1]
    return frozenset(kept)
