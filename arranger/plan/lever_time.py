"""When the left hand is free to move a lever, and what a lever costs there."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

import numpy as np

from arranger.model.harp import Harp, HarpString
from arranger.model.score import Score
from arranger.plan.ring import AUDIBLE, level
from arranger.plan.slices import clock
from arranger.rulebook.players import Player
from arranger.search.levers import Chance

TICKS = 1_000_000  # ticks a second of the search
_SLACK = 10  # ticks by which two times may differ and still be one
_GRID = Fraction(1, 2)  # a lever is moved at an attack or on a half crotchet (assumption)
_EARLY = 8  # seconds beyond which earlier is no worse (assumption)


@dataclass(frozen=True, slots=True)
class Moment:
    """A place where a move may begin: quarter notes, and seconds from the start of the score."""

    onset: Fraction
    seconds: float


@dataclass(frozen=True, slots=True)
class Plucks:
    """What the planner knows of one string: when it may be plucked, and until when it is held."""

    times: tuple[float, ...]
    until: tuple[float, ...]
    midi: int


@dataclass(frozen=True, slots=True)
class LeftHand:
    """When the left hand plucks, in order, and its highest string (a position) each time."""

    times: tuple[float, ...]
    places: tuple[int, ...]

    def out_of_the_way(self, time: float, string: int) -> int:
        """Strings the hand travels further because of a lever it moves at ``time``."""
        at = bisect_right(self.times, time + 1e-6)
        before = self.places[at - 1] if at else None
        after = self.places[at] if at < len(self.places) else None
        if before is None or after is None:
            only = before if after is None else after
            return 0 if only is None else abs(string - only)
        return (abs(string - before) + abs(string - after) - abs(before - after)) // 2


Place = tuple[Fraction, tuple[Fraction, Fraction] | None]


def places(onsets: Sequence[Fraction]) -> list[Place]:
    """Where a move may begin: at an attack, on a half crotchet, or between two quick attacks.

    The last kind comes with the two attacks it halves.
    """
    if not onsets:
        return []
    first, last = onsets[0], onsets[-1]
    steps = int((last - first) / _GRID)
    grid: dict[Fraction, tuple[Fraction, Fraction] | None] = {
        (a + b) / 2: (a, b) for a, b in pairwise(onsets) if b - a < 2 * _GRID}
    grid |= dict.fromkeys((*onsets, *(first + _GRID * i for i in range(steps + 1))))
    return sorted(grid.items(), key=lambda p: p[0])


def free_moments(score: Score, onsets: Sequence[Fraction], left: LeftHand,
                 barlines: Sequence[Fraction], player: Player) -> tuple[Moment, ...]:
    """Moments at which the left hand can begin a move and be back in time for its next pluck.

    It may begin at its own pluck (the finger is off the string then), and has to be back by the
    placing lead before the next. ``barlines`` at which the playing order jumps bind like plucks:
    what comes after the jump is not known there. Between two quick attacks it begins only where it
    could be over before the second.
    """
    grid = [onset for onset, pair in places(onsets)
            if pair is None or score.tempo.seconds(pair[1]) - score.tempo.seconds(pair[0])
            >= 2 * player.lever_move_seconds - 1e-6]
    times = clock(score.tempo, grid)
    bound = sorted((*left.times, *clock(score.tempo, sorted(set(barlines)))))
    need = player.lever_move_seconds + player.placing_lead_seconds
    found = []
    for onset, time in zip(grid, times, strict=True):
        at = bisect_right(bound, time + 1e-6)
        if at == len(bound) or bound[at] - time >= need - 1e-6:
            found.append(Moment(onset, time))
    return tuple(found)


def chances(moments: Sequence[Moment], strings: Mapping[HarpString, Plucks], left: LeftHand,
            harp: Harp, player: Player, prices: Mapping[str, int]) -> list[Chance]:
    """Every moment with the price of moving each string's lever there; switch = position."""
    made = []
    for moment in moments:
        start = round(moment.seconds * TICKS)
        end = start + round(player.lever_move_seconds * TICKS) - _SLACK
        made.append(Chance(start, end, {
            string.position: _price(string, plucks, moment, left, harp, player, prices)
            for string, plucks in strings.items()}))
    return made


def _price(string: HarpString, plucks: Plucks, moment: Moment, left: LeftHand, harp: Harp,
           player: Player, prices: Mapping[str, int]) -> int:
    price = prices["lever"] + prices["lever_reach"] * left.out_of_the_way(
        moment.seconds, string.position)
    if string <= harp.wire_top:
        price += prices["lever_wire"]
    at = bisect_left(plucks.times, moment.seconds - 1e-6)
    if at:
        age = moment.seconds - plucks.times[at - 1]
        left_over = float(level(np.array([plucks.midi]), np.array([age]))[0])
        heard = prices["ring"] + prices["held"] * (plucks.until[at - 1] > moment.seconds + 1e-6)
        price += round(heard * max(0.0, left_over - AUDIBLE))
    end = moment.seconds + player.lever_move_seconds
    after = bisect_left(plucks.times, end - 1e-6)
    if after < len(plucks.times):
        price += prices["lever_early"] * min(int(plucks.times[after] - end), _EARLY)
    return price
