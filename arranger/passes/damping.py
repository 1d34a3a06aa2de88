"""Damping marks: where a wire string would blur a new harmony and the left hand is free."""

from __future__ import annotations

from dataclasses import replace

from arranger.model.draft import Draft
from arranger.passes.settings import Settings
from arranger.plan.damping import damping


def mark_damping(draft: Draft, settings: Settings) -> Draft:
    """Mark what is to be damped, from the notes and hands of the draft alone.

    No note changes, so there is nothing for the ledger; marks that were there are replaced.
    """
    if not settings.harp.hands_judged:
        return replace(draft, damps=())
    return replace(draft, damps=damping(draft.notes, draft.source, settings.harp.wire_top))
