"""The fastest tempo at which a passage can be played: what the feet and the hands wait for.

All times of a passage grow alike when it is played slower, while a foot, a finger and a hand need
the same seconds as before. So whatever works at one tempo works at every slower one, and there is
one fastest tempo: for a wait of the hands it is told by the ratio of two times, for the feet,
whose moves can be made in many orders, it is found by halving an interval.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import partial

from arranger.model.harp import LEFT_FOOT, PedalSetting
from arranger.model.score import NoteId, Score, TempoMark, bar_name
from arranger.plan.foot_order import in_some_order, in_time
from arranger.plan.hand_faults import leaps, placed_anew
from arranger.plan.lever_hand import LeverWork, lever_stretch
from arranger.plan.part_hands import Attack, Grip
from arranger.plan.slices import clock
from arranger.plan.stretch import CLOSE, least_stretch
from arranger.plan.timing import Use, windows
from arranger.plan.unfolded import stretches
from arranger.rulebook.players import Player

#: Crotchets a minute beyond which nobody counts: no limit is told (assumption).
_FAST = 300
_WHY = {"feet": "the feet need the time", "restrike": "a string is taken again so soon",
        "travel": "a hand needs the time to leap",
        "placing": "a hand needs the time to be placed anew",
        "levers": "the left hand needs the time to move a lever"}
_NEVER = {"feet": "a pedal is wanted in two positions at once",
          "levers": "a lever is to move between notes that leave no moment for it"}


@dataclass(frozen=True, slots=True)
class Turn:
    """A move of a pedal: seconds of the last note before it and the first after, as written."""

    bar: int  # index of the bar of the note that needs it
    left: bool
    start: float
    stop: float
    takes: float


@dataclass(frozen=True, slots=True)
class Wait:
    """Two plucks that a finger or hand needs time between; in seconds, ``have`` as written."""

    bar: int
    kind: str  # restrike, travel, placing, or feet where the music jumps
    have: float
    needs: float
    notes: tuple[NoteId, ...]


@dataclass(frozen=True, slots=True)
class Demands:
    """What a part asks of feet and hands, in order of bars; of the left hand also its levers."""

    turns: tuple[Turn, ...]
    waits: tuple[Wait, ...]
    levers: LeverWork = LeverWork()

    def without(self, bars: Collection[int]) -> Demands:
        """What is asked for in other bars than these."""
        return Demands(tuple(t for t in self.turns if t.bar not in bars),
                       tuple(w for w in self.waits if w.bar not in bars),
                       self.levers.of(lambda f: f.bar not in bars))


@dataclass(frozen=True, slots=True)
class Ceiling:
    """Fastest tempo of bars ``first`` to ``last`` (indices): ``ratio`` times the written one.

    ``bpm`` in quarter notes a minute at the start of the passage; both are infinite where nothing
    has to wait, and 0 where it goes at no tempo: one pedal is wanted in two positions at once, or
    no moment is left for a lever. ``kind`` says what limits it: feet, levers, restrike, travel,
    placing, or nothing.
    """

    first: int
    last: int
    ratio: float
    bpm: float
    kind: str = ""

    @property
    def crotchet(self) -> int | None:
        """Highest metronome figure at which it plays; None where nothing limits it."""
        return None if math.isinf(self.bpm) else math.floor(self.bpm + 1e-6)


def demands(score: Score, uses: Iterable[Use], attacks: Sequence[Attack], grips: Sequence[Grip],
            player: Player) -> Demands:
    """Gather what a part asks for.

    Parameters
    ----------
    uses : every letter wanted by a note, as spelled.
    grips : the sharing between the hands that is judged, one an attack.
    """
    uses = list(uses)
    waits = [*_restrikes(attacks, player), *_travels(attacks, grips, player),
             *_placings(attacks, grips, player), *_jumps(score, uses, player)]
    return Demands(tuple(_turns(score, uses, player)),
                   tuple(sorted(waits, key=lambda w: (w.bar, w.needs / w.have))))


def _turns(score: Score, uses: Iterable[Use], player: Player) -> Iterator[Turn]:
    _, changes = windows(uses, PedalSetting())
    times = clock(score.tempo, [t for w in changes for t in (w.after, w.before)])
    starts = [m.onset for m in score.measures]
    for at, change in enumerate(changes):
        one_notch = abs(change.to_alter - change.from_alter) == 1
        takes = player.foot_move_seconds if one_notch else player.foot_two_notch_seconds
        yield Turn(bisect_right(starts, change.before) - 1, change.pedal in LEFT_FOOT,
                   times[2 * at], times[2 * at + 1], takes)


def _jumps(score: Score, uses: Sequence[Use], player: Player) -> Iterator[Wait]:
    """Moves of a pedal between notes that a repeat or another jump brings together."""
    played = stretches(score) if len(score.jumps) else ()
    starts = [m.onset for m in score.measures]
    bars = [bisect_right(starts, u.onset) - 1 for u in uses]
    times = clock(score.tempo, [u.onset for u in uses]) if played else []
    last: dict[str, tuple[int, int, float]] = {}  # stretch, position, seconds
    for rank, stretch in enumerate(played):
        for use, bar, written in zip(uses, bars, times, strict=True):
            if not stretch.first <= bar <= stretch.last:
                continue
            time = written + stretch.later
            before, alter, since = last.get(use.letter, (rank, use.alter, time))
            last[use.letter] = rank, use.alter, time
            if before != rank and alter != use.alter and time > since:
                yield Wait(bar, "feet", time - since,
                           player.foot_two_notch_seconds if abs(alter - use.alter) > 1
                           else player.foot_move_seconds, ())


def _restrikes(attacks: Sequence[Attack], player: Player) -> Iterator[Wait]:
    last: dict[int, tuple[float, NoteId]] = {}
    for attack in attacks:
        for note in attack.notes:
            before = last.get(note.pitch.position)
            last[note.pitch.position] = (attack.seconds, note.id)
            if before is not None and attack.seconds > before[0]:
                yield Wait(note.measure, "restrike", attack.seconds - before[0],
                           player.restrike_error_seconds, (before[1], note.id))


def _travels(attacks: Sequence[Attack], grips: Sequence[Grip], player: Player) -> Iterator[Wait]:
    """Leaps beyond a comfortable span, by the pace of rule H9."""
    for leap in leaps(attacks, grips, player):
        yield Wait(leap.new[0].measure, "travel", leap.have, leap.need,
                   tuple(n.id for n in (*leap.old, *leap.new)))


def _placings(attacks: Sequence[Attack], grips: Sequence[Grip], player: Player) -> Iterator[Wait]:
    """Octaves, thirds and chords for which a hand is placed anew, as rule H12 has it."""
    for anew in placed_anew(attacks, grips, player):
        yield Wait(anew.new[0].measure, "placing", anew.have, player.placing_lead_seconds,
                   tuple(n.id for n in (*anew.old, *anew.new)))


def ceiling(score: Score, asked: Demands, first: int = 0, last: int | None = None) -> Ceiling:
    """Return the fastest tempo of bars ``first`` to ``last`` (indices, to the end if None).

    A move or wait belongs to the bar of its second note; what the feet are asked for in other
    bars is not looked at.
    """
    last = len(score.measures) - 1 if last is None else last
    turns = [t for t in asked.turns if first <= t.bar <= last]
    slowest, kind = feet_stretch(turns), "feet"
    for wait in asked.waits:
        if first <= wait.bar <= last and wait.needs / wait.have > slowest:
            slowest, kind = wait.needs / wait.have, wait.kind
    flipping = lever_stretch(asked.levers.of(lambda f: first <= f.bar <= last))
    if flipping > slowest:
        slowest, kind = flipping, "levers"
    if slowest == 0:
        return Ceiling(first, last, math.inf, math.inf)
    written = float(_mark(score, score.measures[first].onset).bpm)
    return Ceiling(first, last, 1 / slowest, written / slowest, kind)


def bar_ceilings(score: Score, asked: Demands) -> tuple[Ceiling, ...]:
    """Return the ceiling of every bar by itself."""
    turns: dict[int, list[Turn]] = {}
    waits: dict[int, list[Wait]] = {}
    for turn in asked.turns:
        turns.setdefault(turn.bar, []).append(turn)
    for wait in asked.waits:
        waits.setdefault(wait.bar, []).append(wait)
    return tuple(ceiling(score, Demands(tuple(turns.get(bar, ())), tuple(waits.get(bar, ())),
                                        asked.levers), bar, bar)
                 for bar in range(len(score.measures)))


def limiting_passage(score: Score, asked: Demands) -> Ceiling:
    """Return the ceiling of the whole part, at the fewest bars that have no higher one."""
    whole = ceiling(score, asked)
    if math.isinf(whole.ratio):
        return whole
    last = _first_that(whole.last, lambda bar: _as_slow(ceiling(score, asked, 0, bar), whole))
    back = _first_that(last, lambda way: _as_slow(ceiling(score, asked, last - way, last), whole))
    return ceiling(score, asked, last - back, last)


def feet_stretch(turns: Sequence[Turn]) -> float:
    """Return the least factor by which times must grow for both feet; 0 if nothing is asked.

    Exact for a single move; to a billionth of it where moves of one foot meet. Infinite where a
    pedal is wanted in two positions at once.
    """
    if any(t.stop <= t.start for t in turns):
        return math.inf
    fits = max((t.takes / (t.stop - t.start) for t in turns), default=0.0)
    for left in (True, False):
        mine = [t for t in turns if t.left == left]
        if mine and not _go(mine, fits):
            fits = least_stretch(partial(_go, mine), fits, 2 * fits)
    return fits


def _go(turns: Sequence[Turn], stretch: float) -> bool:
    """Tell whether one foot makes its moves with all times stretched."""
    return in_some_order([in_time(t.start * stretch, t.stop * stretch, t.takes) for t in turns])


def _as_slow(found: Ceiling, whole: Ceiling) -> bool:
    return found.ratio <= whole.ratio * (1 + 2 * CLOSE)


def _first_that(most: int, holds: Callable[[int], bool]) -> int:
    """Least number up to ``most`` for which something holds that then goes on holding."""
    low, high = 0, most
    while low < high:
        middle = (low + high) // 2
        if holds(middle):
            high = middle
        else:
            low = middle + 1
    return low


def _mark(score: Score, onset: Fraction) -> TempoMark:
    marks = score.tempo.marks
    return marks[max(bisect_right(marks, onset, key=lambda m: m.onset) - 1, 0)]


def sentence(found: Ceiling, score: Score) -> str:
    """Say it to a player: ``bars 41-44 play at crotchet 88, not 120: the feet need the time``."""
    if found.crotchet is None or found.crotchet > _FAST:
        return "nothing in it sets a limit to the tempo"
    if found.ratio == 0:
        return (f"{bar_name(score.measures[found.first].number)} plays at no tempo: "
                f"{_NEVER[found.kind]}")
    numbers = [score.measures[b].number for b in (found.first, found.last)]
    one = found.first == found.last
    where = f"{bar_name(numbers[0])} plays" if one else (
        f"upbeat to bar {numbers[1]} play" if numbers[0] == "0"
        else f"bars {numbers[0]}-{numbers[1]} play")
    written = _mark(score, score.measures[found.first].onset)
    asked = (f", not {round(written.bpm)}" if found.ratio < 1 and written.origin != "assumed"
             else " at most")
    return f"{where} at crotchet {found.crotchet}{asked}: {_WHY[found.kind]}"
