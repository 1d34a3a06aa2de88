"""Where the full pedal setting is printed again."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable
from fractions import Fraction
from itertools import pairwise

from arranger.io.write_keys import signatures
from arranger.model.draft import Draft
from arranger.passes.jumps import barline, barline_groups

_REST_BARS = 4  # bars of rest after which a player wants the setting again (HNM)


def sections(draft: Draft, rehearsals: Iterable[Fraction] = (),
             doubles: Iterable[Fraction] = ()) -> tuple[Fraction, ...]:
    """Onsets at which the player is shown the whole setting again (HNM).

    They are new keys, double bars, rehearsal marks, jump targets, the end of a long rest and
    glissandi. Each stands at the first note of the part from there on; what moves at that moment
    is in it. Where no pedal has moved since the setting printed last it would tell nothing new,
    save at a rehearsal mark, where playing begins.

    Parameters
    ----------
    rehearsals, doubles : onsets of the bars with a rehearsal mark, and of those after a double bar.
    """
    score = draft.source
    onsets = sorted({n.onset for n in draft.notes})
    if not onsets:
        return ()
    keys = signatures(draft)
    starts = {b.onset for b, (old, new) in zip(score.measures[1:], pairwise(keys), strict=True)
              if old != new}
    starts |= {barline(score, bar) for group in barline_groups(score) for bar in group}
    starts |= {n.onset for n in draft.notes if n.source.marks & {"glissando", "slide"}}
    starts |= {two for one, two in pairwise(onsets) if score.measure_at(two).index
               - score.measure_at(one).index > _REST_BARS}
    always = _first_notes(rehearsals, onsets)
    shown: list[Fraction] = []
    printed = Fraction(0)
    for onset in sorted((_first_notes({*starts, *doubles}, onsets) | always) - {onsets[0]}):
        if onset in always or any(printed < m.onset <= onset for m in draft.plan.moves):
            shown.append(onset)
            printed = onset
    return tuple(shown)


def _first_notes(starts: Iterable[Fraction], onsets: list[Fraction]) -> set[Fraction]:
    """The first note at or after each start."""
    places = (bisect_left(onsets, start) for start in starts)
    return {onsets[place] for place in places if place < len(onsets)}
