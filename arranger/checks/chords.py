"""Can these pitches be plucked together? Strings, letters and pedals of one moment."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

from arranger.model.harp import Harp, HarpString, PedalSetting, spellings
from arranger.model.pitch import Pitch

#: Rank of a move of 0, 1 or 2 notches: notches first, then as few moves of two as can be.
_MOVE = (0, 8, 17)
NOTHING_FIXED: Mapping[HarpString, int] = {}


def playable_together(midis: Sequence[int], start: PedalSetting | None = None,
                      harp: Harp | None = None,
                      fixed: Mapping[HarpString, int] = NOTHING_FIXED) -> tuple[Pitch, ...] | None:
    """Give each pitch a string of its own such that one pedal setting serves them all.

    Parameters
    ----------
    midis
        Sounding pitches, MIDI numbers; a number given twice asks for two strings in unison.
    start
        Setting to stay near: the assignment of fewest notches is returned, and among equals one
        with fewer moves of two notches. Without it all pedals start at natural.
    harp
        Compass to stay in; any octave without it.
    fixed
        Strings no pedal reaches, with the alter they are tuned to; they bind no letter.

    Returns
    -------
    tuple of Pitch or None
        In the order of ``midis``, spelled as the strings to pluck; None if it cannot be done.
    """
    near = start or PedalSetting()
    choices = [tuple(p for p in spellings(midi) if harp is None or harp.has(HarpString.of(p)))
               for midi in midis]
    best: tuple[int, tuple[Pitch, ...]] | None = None

    def extend(chosen: tuple[Pitch, ...], letters: Mapping[str, int], cost: int) -> None:
        nonlocal best
        if best is not None and cost >= best[0]:
            return
        if len(chosen) == len(choices):
            best = (cost, chosen)
            return
        for pitch in choices[len(chosen)]:
            string = HarpString.of(pitch)
            if any(p.position == pitch.position for p in chosen):
                continue
            if string in fixed:
                if fixed[string] == pitch.alter:
                    extend((*chosen, pitch), letters, cost)
            elif letters.get(pitch.step, pitch.alter) == pitch.alter:
                moved = abs(near.alter(pitch.step) - pitch.alter)
                more = 0 if pitch.step in letters else _MOVE[moved]
                extend((*chosen, pitch), {**letters, pitch.step: pitch.alter}, cost + more)

    extend((), {}, 0)
    return best[1] if best else None


def conflict(midis: Sequence[int], harp: Harp | None = None,
             fixed: Mapping[HarpString, int] = NOTHING_FIXED) -> tuple[int, ...]:
    """Pitches that cannot be plucked together, none of which can be left out of the clash.

    Empty if all of ``midis`` can be plucked together. Without any one of the returned pitches
    the others go.
    """
    if playable_together(midis, harp=harp, fixed=fixed) is not None:
        return ()
    core = list(midis)
    for midi in midis:
        fewer = core.copy()
        fewer.remove(midi)
        if playable_together(fewer, harp=harp, fixed=fixed) is None:
            core = fewer
    return tuple(core)


def spelled_clashes(pitches: Sequence[Pitch]) -> tuple[tuple[Pitch, Pitch], ...]:
    """Pairs that cannot sound together as they are spelled.

    Two notes on one string, or one letter wanted in two positions in whatever octaves: a pedal
    acts on all octaves at once. Equal notes clash too, for they ask for one string twice.
    """
    return tuple((low, high) for low, high in combinations(pitches, 2)
                 if low.step == high.step
                 and (low.alter != high.alter or low.octave == high.octave))
