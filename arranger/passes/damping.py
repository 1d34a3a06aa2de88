"""Damping marks: where a wire string would blur a new harmony or a pedal would be heard.

And a hand is free. What the left hand damps for the harmony follows from notes and hands; the
moments of the pedals are chosen knowing it, and where a hand can be had for them.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import replace

from arranger.model.draft import Damp, Draft
from arranger.model.harp import PEDALS, PedalSetting
from arranger.passes.settings import Settings
from arranger.plan.damping import damping
from arranger.plan.slices import slices
from arranger.plan.timing import draft_uses, windows
from arranger.plan.touch import Hands, Moment, hushed, with_hands

#: Damps before one among which another of its hand may be too near (assumption).
_LATELY = 8


def free_hands(draft: Draft, settings: Settings) -> Hands | None:
    """What the hands of a draft play and damp for the harmony; None where hands are not judged."""
    if not settings.harp.hands_judged:
        return None
    return _hands(draft, settings, _of_harmony(draft, settings))


def _hands(draft: Draft, settings: Settings, damps: Sequence[Damp]) -> Hands:
    return Hands(slices(draft.notes, draft.source.tempo), settings.player, damps)


def mark_damping(draft: Draft, settings: Settings) -> Draft:
    """Mark what is to be damped, from the notes, hands and pedals of the draft alone.

    No note changes, so there is nothing for the ledger; marks that were there are replaced.
    """
    if not settings.harp.hands_judged:
        return replace(draft, damps=())
    harmony = _of_harmony(draft, settings)
    damps = [*harmony, *_of_pedals(draft, settings, _hands(draft, settings, harmony))]
    return replace(draft, damps=tuple(sorted(damps, key=lambda d: (d.onset, d.hand))))


def _of_harmony(draft: Draft, settings: Settings) -> tuple[Damp, ...]:
    return damping(draft.notes, draft.source, settings.harp.wire_top)


def _of_pedals(draft: Draft, settings: Settings, hands: Hands) -> list[Damp]:
    """What is damped for the moves of the pedals, by a hand that is not busy damping."""
    every = windows(draft_uses(draft), PedalSetting())[1]
    changes = {p: [w for w in every if w.pedal == p] for p in PEDALS}
    struck = {(n.onset, n.string.position): n for n in draft.notes}
    found: list[Damp] = []
    for move in draft.plan.moves:
        own = changes[move.pedal]
        at = bisect_right(own, move.onset, key=lambda w: w.before)
        if at == len(own) or not own[at].after < move.onset:  # for an ornament or a barline
            continue
        rings = with_hands(own[at].rings, own[at].after, own[at].before, draft.source.tempo, hands)
        hush = hushed(rings, Moment(move.onset, move.seconds), settings.prices, settings.player)
        places = [r.place for r in hush.rings]
        mine = [d for d in found[-_LATELY:] if d.hand == hush.hand]
        if not hush.hand or not all(hands.both(d, places, hush.moment.seconds) for d in mine):
            continue
        damp = Damp(*hush.moment, hush.hand, tuple(struck[r.onset, r.place] for r in hush.rings),
                    "P2")
        for same in [d for d in mine if d.onset == damp.onset]:
            found.remove(same)
            damp = replace(damp, notes=same.notes + damp.notes)
        found.append(damp)
    return found
