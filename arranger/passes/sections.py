"""Where the full pedal setting is printed again."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

from arranger.model.draft import Draft
from arranger.passes.jumps import barline, barline_groups

_REST_BARS = 4  # bars of rest after which a player wants the setting again (assumption)


def sections(draft: Draft) -> tuple[Fraction, ...]:
    """Onsets of larger sections: new key, jump targets, after a long rest; never amid moves.

    Each stands at the first note of the part from there on, where no pedal moves at the same
    moment (the moves then say enough) and the setting is not the one printed last.
    """
    score = draft.source
    starts = {b.onset for a, b in pairwise(score.measures) if a.fifths != b.fifths}
    starts |= {barline(score, bar) for group in barline_groups(score) for bar in group}
    onsets = sorted({n.onset for n in draft.notes})
    for one, two in pairwise(onsets):
        rest = score.measure_at(two).index - score.measure_at(one).index - 1
        if rest >= _REST_BARS:
            starts.add(two)
    moving = {m.onset for m in draft.plan.moves}
    found = {next((o for o in onsets if o >= start), None) for start in starts}
    shown, printed = [], draft.plan.opening
    for onset in sorted(o for o in found if o is not None and o > onsets[0] and o not in moving):
        setting = draft.plan.at(onset)
        if setting != printed:
            shown.append(onset)
            printed = setting
    return tuple(shown)
