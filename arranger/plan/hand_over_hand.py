"""Lines on one staff that both hands play in turn, as harpists do where the other staff rests.

An arpeggio through five octaves is engraved on one staff for the eye; no player takes it with one
hand (common practice). So around a fault of such a line the hands are planned again with the staff
saying little, and that plan stays wherever it has fewer faults.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import groupby

from arranger.model.score import NoteId
from arranger.plan.hand_faults import handed_over, leaps, long_runs, placed_anew
from arranger.plan.part_hands import Attack, Grip, grips
from arranger.plan.recall import Recall
from arranger.rulebook.players import Player

#: What a long run weighs; of a leap and a string passed on, the time wanted by the time there is.
_RUN = 1.0
_EPS = 1e-6
Stretch = range  # attacks that stand on one staff


def shared(attacks: Sequence[Attack], player: Player, prices: Mapping[str, int],
           written: Mapping[NoteId, int], recall: Recall) -> tuple[tuple[Grip, ...],
                                                                   frozenset[Fraction]]:
    """Share a part between the hands, the staff being the hand but where a line needs both.

    Return the grips, and the onsets of those lines.
    """
    plain = grips(attacks, player, prices, written, recall)
    lines = _lines(attacks, player.one_hand_run_notes)
    faults = _weights(lines, attacks, plain, player)
    wanting = [line for line, weight in zip(lines, faults, strict=True) if weight > 0]

    def loosened(loose: Sequence[Stretch]) -> tuple[Grip, ...]:
        """The sharing with the staff saying little in these lines; planned anew around them."""
        found = list(plain)
        for start, stop in _around(loose, attacks, player.grip_memory_seconds):
            free = {at - start for line in loose for at in line if start <= at < stop}
            found[start:stop] = grips(attacks[start:stop], player, prices, written, recall, free)
        return tuple(found)
    if not wanting:
        return plain, frozenset()
    both = loosened(wanting)
    after = _weights(lines, attacks, both, player)
    better = [line for line, old, new in zip(lines, faults, after, strict=True) if new < old]
    if len(better) < len(wanting):
        better = [line for line in wanting if line in better]
        both = loosened(better)
    return both, frozenset(attacks[at].onset for line in better for at in line)


def _around(lines: Sequence[Stretch], attacks: Sequence[Attack],
            seconds: float) -> list[tuple[int, int]]:
    """Ranges of attacks from so long before each line to so long after it, joined."""
    times = [a.seconds for a in attacks]
    found: list[tuple[int, int]] = []
    for line in lines:
        start = bisect_left(times, times[line.start] - seconds)
        stop = bisect_right(times, times[line.stop - 1] + seconds)
        if found and start <= found[-1][1]:
            start, stop = found[-1][0], max(found.pop()[1], stop)
        found.append((start, stop))
    return found


def _lines(attacks: Sequence[Attack], most: int) -> list[Stretch]:
    """Stretches of more attacks than one hand takes at once, all on one staff."""
    found: list[Stretch] = []
    staves = [{n.staff for n in a.notes} for a in attacks]
    for _, same in groupby(enumerate(staves), key=lambda s: s[1]):
        here = [at for at, _ in same]
        if len(staves[here[0]]) == 1 and len(here) > most:
            found.append(range(here[0], here[-1] + 1))
    return found


def _weights(lines: Sequence[Stretch], attacks: Sequence[Attack], shares: Sequence[Grip],
             player: Player) -> list[float]:
    """What is wrong with every line and with the step out of it."""
    found = [0.0] * len(lines)
    faults = [*((f.at, f.need / f.have) for f in leaps(attacks, shares, player) if f.late),
              *((f.at, player.collision_seconds / f.have)
                for f in handed_over(attacks, shares, player)),
              *((f.at, player.placing_lead_seconds / f.have)
                for f in placed_anew(attacks, shares, player)
                if f.have < player.placing_lead_seconds - _EPS),
              *((f.at, _RUN) for f in long_runs(attacks, shares, player))]
    starts = [line.start for line in lines]
    for at, weight in faults:
        line = bisect_right(starts, at) - 1
        if line >= 0:
            found[line] += weight
    return found
