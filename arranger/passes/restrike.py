"""No string is struck again faster than a finger can come back to it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from arranger.model.draft import Draft, HarpNote
from arranger.model.harp import HarpString
from arranger.model.ledger import Alteration, Drop
from arranger.model.score import NoteId
from arranger.passes.settings import Settings
from arranger.plan.roles import roles
from arranger.plan.slices import clock
from arranger.plan.worth import worth

STAGE = "repetition"


def thin_repeats(draft: Draft, settings: Settings) -> Draft:
    """Leave out notes so that no string is struck twice within the player's limit.

    On every string the dearest set of attacks that keeps the distance stays (exact, by string).
    """
    part_roles = roles(draft.notes)
    struck = [n for n in draft.notes if not n.source.grace]
    onsets = sorted({n.onset for n in struck})
    seconds = dict(zip(onsets, clock(draft.source.tempo, onsets), strict=True))
    by_string: dict[HarpString, list[tuple[float, int, HarpNote]]] = {}
    for note in struck:
        price = worth(note, part_roles[note.id], settings.prices).drop
        by_string.setdefault(note.string, []).append((seconds[note.onset], price, note))
    limit = settings.player.restrike_error_seconds
    gone: dict[NoteId, str] = {}
    for attacks in by_string.values():
        attacks.sort(key=lambda a: (a[0], a[2].id))
        kept = _keep([(time, price) for time, price, _ in attacks], limit)
        for at, (time, _, note) in enumerate(attacks):
            if at not in kept:
                near = min((abs(time - attacks[k][0]) for k in kept), default=limit)
                gone[note.id] = (f"{note.pitch.label}: the same string sounds {near:.2f} s away; "
                                 f"a finger needs {limit:.2f} s to pluck it again")
    if not gone:
        return draft
    made = [Alteration(Drop(n.id), "R1", STAGE, gone[n.id]) for n in draft.notes if n.id in gone]
    return replace(draft, notes=tuple(n for n in draft.notes if n.id not in gone),
                   ledger=draft.ledger.plus(*made))


def _keep(attacks: Sequence[tuple[float, int]], limit: float) -> frozenset[int]:
    """Indices of the dearest attacks that lie at least ``limit`` seconds apart."""
    if all(b - a >= limit - 1e-6 for (a, _), (b, _) in pairwise(attacks)):
        return frozenset(range(len(attacks)))
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
