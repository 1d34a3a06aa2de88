"""Strings that come back before a finger can pluck them again."""

from __future__ import annotations

from dataclasses import replace

from arranger.model.draft import Draft, HarpNote
from arranger.model.ledger import Alteration
from arranger.model.pins import Pin
from arranger.passes.in_hands import EPS, struck_too_soon
from arranger.passes.settings import Settings
from arranger.plan.pinned import KEPT
from arranger.plan.roles import roles
from arranger.plan.slices import slices
from arranger.plan.worth import worth


def spare_strings(draft: Draft, settings: Settings) -> Draft:
    """Leave out what returns too soon to a string, with others plucked in between.

    The planner remembers the last grip of each hand and sees no farther. Of two notes the one
    that is worth less is left out.
    """
    part_roles = roles(draft.notes)

    def drop(note: HarpNote) -> int:
        pinned = settings.pins.of(note.id) != Pin()
        return KEPT if pinned else worth(note, part_roles[note.id], settings.prices).drop

    lost: dict[str, Alteration] = {}
    last: dict[int, tuple[float, HarpNote]] = {}
    for here in slices(draft.notes, draft.source.tempo):
        for note in here.notes:
            if note.source.grace:
                continue
            time, before = last.get(note.pitch.position, (here.seconds, note))
            gap = here.seconds - time
            if 0 < gap < settings.player.restrike_error_seconds - EPS:
                gone = min(note, before, key=drop)
                lost[gone.id] = struck_too_soon(gone, gap, settings)
                if gone is note:
                    continue
            last[note.pitch.position] = here.seconds, note
    return replace(draft, notes=tuple(n for n in draft.notes if n.id not in lost),
                   ledger=draft.ledger.plus(*lost.values())) if lost else draft
