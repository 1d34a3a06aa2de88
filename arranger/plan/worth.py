"""The price of losing or changing a note, from its role and rules/prices.toml."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from arranger.model.draft import HarpNote
from arranger.plan.roles import Role

_LEAST, _MOST = Fraction(1, 3), Fraction(2)
#: How many times as much a note is worth that is of the tune's own part (assumption).
_SUNG = Fraction(3, 2)
#: What a note is worth more by the denominator of its onset: on the beat, the half, the quarter of
#: it. It decides between notes that are worth the same (assumption).
_ON_BEAT = {1: 6, 2: 4, 4: 2}


@dataclass(frozen=True, slots=True)
class Worth:
    """Price of leaving the note out and of sounding another note of the harmony instead."""

    drop: int
    other: int


def worth(note: HarpNote, role: Role, prices: Mapping[str, int]) -> Worth:
    """Price a note. Tune and bass weigh by how long they lead, within a third to two beats."""
    if note.source.grace:
        return Worth(prices["drop_grace"], prices["drop_grace"])
    base = (prices["drop_doubling"] if role.doubled
            else prices["drop_colour"] if role.colour else prices["drop_inner"])
    for length, price in ((role.tune, "drop_tune"), (role.bass, "drop_bass")):
        if length:
            share = _SUNG if note.sung and price == "drop_tune" else 1
            base += int(prices[price] * min(max(length, _LEAST), _MOST) * share)
    base += _ON_BEAT.get(note.source.onset.denominator, 0)
    # In figuration the rhythm is worth more than the pitch; in a chord the gap is not heard
    # (HNM has no rule; common practice).
    figure = role.alone and note.source.duration <= Fraction(1, 2)
    return Worth(base, base * 7 // 10 if figure else base * 13 // 10)
