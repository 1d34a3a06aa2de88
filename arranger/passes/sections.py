"""Where the full pedal setting is printed again."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable
from fractions import Fraction
from itertools import pairwise

from arranger.io.write_keys import signatures
from arranger.model.draft import Draft
from arranger.passes.jumps import barline, barline_groups

_NEAR_BARS = 2  # bars from one setting to the next, but where one is needed (assumption)
_REST_BARS = 4  # bars of rest after which a player wants the setting again (HNM)


def sections(draft: Draft, rehearsals: Iterable[Fraction] = (),
             doubles: Iterable[Fraction] = ()) -> tuple[Fraction, ...]:
    """Onsets at which the player is shown the whole setting again (HNM).

    They are new keys, double bars, rehearsal marks, jump targets, the end of a long rest and
    glissandi. Each stands at the first note of the part from there on; what moves at that moment
    is in it. Where no pedal has moved since the setting printed last it would tell nothing new,
    save at a rehearsal mark, where playing begins; and a bar after one the player still has it
    in mind with the change since, save where playing jumps to and at a glissando.

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
    own = _first_notes({barline(score, bar) for group in barline_groups(score) for bar in group},
                       onsets)
    own |= {n.onset for n in draft.notes if n.source.marks & {"glissando", "slide"}}
    starts |= {two for one, two in pairwise(onsets) if score.measure_at(two).index
               - score.measure_at(one).index > _REST_BARS}
    always = _first_notes(rehearsals, onsets)
    shown: list[Fraction] = []
    printed = Fraction(0)
    for onset in sorted((_first_notes({*starts, *doubles}, onsets) | own | always) - {onsets[0]}):
        bars = score.measure_at(onset).index - score.measure_at(printed).index
        near = bool(shown) and bars < _NEAR_BARS
        moved = any(printed < m.onset <= onset for m in draft.plan.moves)
        if onset in always or (moved and (onset in own or not near)):
            shown.append(onset)
            printed = onset
    return tuple(shown)


def _first_notes(starts: Iterable[Fraction], onsets: list[Fraction]) -> set[Fraction]:
    """The first note at or after each start."""
    places = (bisect_left(onsets, start) for start in starts)
    return {onsets[place] for place in places if place < len(onsets)}
