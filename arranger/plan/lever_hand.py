"""Whether the left hand can make all the flips a part asks for, and how slow that must be played.

A flip takes the hand for a while, from a moment on that leaves it time to be back for its next
pluck; it begins after the last note at the old pitch and ends before the first at the new one.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from typing import NamedTuple

from arranger.model.score import Note, Score
from arranger.plan.lever_time import places
from arranger.plan.part_hands import Attack, Grip
from arranger.plan.slices import clock
from arranger.plan.stretch import least_stretch
from arranger.rulebook.players import Player

_EPS = 1e-9
#: Times slower than written beyond which nothing is looked for (assumption).
_SLOWEST = 64.0


class Flip(NamedTuple):
    """One string changed: seconds of the last note before it and the first after, as written."""

    after: float
    before: float
    bar: int  # index of the bar of the note that needs it


class Start(NamedTuple):
    """A moment where a flip may begin, as written, in seconds.

    ``wait`` is the time until the left hand plucks next, ``gap`` that from attack to attack which
    the moment halves (infinite: it stands at an attack or on a half crotchet).
    """

    seconds: float
    wait: float
    gap: float


@dataclass(frozen=True, slots=True)
class LeverWork:
    """What a part asks of the left hand; ``takes`` seconds a flip, back by ``lead`` seconds."""

    flips: tuple[Flip, ...] = ()
    starts: tuple[Start, ...] = ()
    takes: float = 0.0
    lead: float = 0.0

    def of(self, wanted: Callable[[Flip], bool]) -> LeverWork:
        """The same with the flips that are wanted alone."""
        return LeverWork(tuple(f for f in self.flips if wanted(f)), self.starts, self.takes,
                         self.lead)


def lever_work(score: Score, attacks: Sequence[Attack], grips: Sequence[Grip],
               player: Player) -> LeverWork:
    """Gather the flips between the notes of every string, and where they may begin."""
    last: dict[int, tuple[float, Note]] = {}
    flips: list[Flip] = []
    for attack in attacks:
        for note in attack.notes:
            old = last.get(note.pitch.position)
            if old is not None and old[1].pitch.alter != note.pitch.alter:
                flips.append(Flip(old[0], attack.seconds, note.measure))
            last[note.pitch.position] = attack.seconds, note
    if not flips:
        return LeverWork()
    left = [a.seconds for a, g in zip(attacks, grips, strict=True) if g.left]
    return LeverWork(tuple(flips), _starts(score, [a.onset for a in attacks], left),
                     player.lever_move_seconds, player.placing_lead_seconds)


def _starts(score: Score, onsets: Sequence[Fraction], left: Sequence[float]) -> tuple[Start, ...]:
    found = []
    for onset, pair in places(onsets):
        time, *ends = clock(score.tempo, [onset, *(pair or ())])
        following = bisect_right(left, time + 1e-6)
        wait = left[following] - time if following < len(left) else math.inf
        found.append(Start(time, wait, ends[1] - ends[0] if ends else math.inf))
    return tuple(found)


def lever_stretch(work: LeverWork) -> float:
    """Least factor by which times must grow for all flips; 0 if none is asked.

    To a billionth of it; infinite where one note follows another without a moment between.
    """
    if not work.flips:
        return 0.0
    return least_stretch(partial(can_flip, work), 0.0, 1.0, _SLOWEST)


def can_flip(work: LeverWork, stretch: float) -> bool:
    """Tell whether the left hand makes all flips with all times stretched (exact).

    All flips take equally long, so of those that may begin the one that ends soonest is made
    first (the two could change places in any other order). The hand waits only where a flip that
    may not begin yet would be delayed: both ways are followed.
    """
    starts = [s.seconds * stretch for s in work.starts
              if s.wait * stretch >= work.takes + work.lead - _EPS
              and s.gap * stretch >= 2 * work.takes - _EPS]
    flips = sorted(Flip(f.after * stretch, f.before * stretch, f.bar) for f in work.flips)
    open_: list[tuple[int, frozenset[int]]] = [(0, frozenset())]
    seen = set(open_)
    while open_:
        at, done = open_.pop()
        left = [i for i in range(len(flips)) if i not in done]
        if not left:
            return True
        at = max(at, bisect_right(starts, flips[left[0]].after + _EPS))
        if at == len(starts):
            continue
        begin = starts[at]
        end = begin + work.takes
        ready = [i for i in left if flips[i].after < begin - _EPS]
        if any(end > flips[i].before + _EPS for i in ready):
            continue
        first = min(ready, key=lambda i: flips[i].before)
        more = [(bisect_left(starts, end - _EPS), done | {first})]
        if any(begin - _EPS <= flips[i].after < end for i in left):
            more.append((at + 1, done))
        for state in more:
            if state not in seen:
                seen.add(state)
                open_.append(state)
    return False
