"""Write down the pedals: opening setting and the moment of every move."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

from arranger.model.draft import Draft, PedalPlan
from arranger.model.harp import PEDALS, PedalSetting
from arranger.passes.settings import Settings
from arranger.plan.settings import key_setting
from arranger.plan.timing import Use, Window, schedule, uses_of, windows


def move_pedals(draft: Draft, settings: Settings,
                pins: Mapping[Fraction, tuple[int, ...]]) -> tuple[Draft, tuple[Window, ...]]:
    """Time every pedal move; also return the windows that no foot can meet."""
    uses = uses_of([(n.onset, n.source.end, n.string, n.pitch.alter) for n in draft.notes],
                   frozenset(draft.plan.fixed))
    for onset, state in pins.items():
        uses += [Use(onset, step, position - 1, onset)
                 for step, position in zip(PEDALS, state, strict=True)]
    opening, changes = windows(uses, _default(draft))
    onsets = sorted({n.onset for n in draft.notes})
    moves, missed = schedule(draft.source, onsets, changes, settings.player, settings.prices)
    return replace(draft, plan=PedalPlan(opening, moves, draft.plan.fixed)), missed


def _default(draft: Draft) -> PedalSetting:
    """Key signature at the start, for the letters that the part never uses."""
    return key_setting(draft.source.measures[0].fifths)
