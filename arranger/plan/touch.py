"""Where a hand can lay a finger on a ringing string, and where one lies there anyway.

A string is silent once a finger is placed on it again (Orchestration Online, "Stomping"), and a
hand that has nothing to pluck damps what would be heard as a slide when its pedal moves (HNM,
pedal slide). From its last stroke, and to its next, it needs the placing lead of the player and its
travel.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import islice
from typing import NamedTuple

from arranger.model.draft import Damp
from arranger.model.score import TempoMap
from arranger.plan.ring import AUDIBLE, T60, level_of
from arranger.plan.slices import Slice
from arranger.rulebook.players import Player

#: Placing leads before its pluck at which a finger with time lies on its string (assumption).
_EARLY = 2
#: Quarter notes between places at which a sign is read (assumption).
_GRID = Fraction(1, 4)
_EPS = 1e-6


class Moment(NamedTuple):
    """A place in the music: quarter notes, seconds."""

    onset: Fraction
    seconds: float


class Touch(NamedTuple):
    """A hand (R or L) may lay a finger on a string from ``start`` to ``stop``, in seconds.

    ``best``: where it is read best then, the later the better; None where that is nowhere.
    """

    hand: str
    start: float
    stop: float
    best: Moment | None = None

    def at(self, moment: Moment) -> Moment | None:
        """Where it is done for a pedal that moves at a moment: then, or before; None: nowhere."""
        if self.start - _EPS <= moment.seconds <= self.stop + _EPS:
            return moment
        return self.best if self.best and self.best.seconds <= moment.seconds else None


@dataclass(frozen=True, slots=True, order=True)
class Ring:
    """A string (diatonic ``place``) plucked at ``onset``, written as held until ``until``.

    Both in quarter notes; ``seconds`` of the pluck; ``silent``: seconds from which a finger lies
    on it anyway; ``touches``: where a free hand can damp it.
    """

    place: int
    midi: int
    onset: Fraction
    until: Fraction
    seconds: float = 0.0
    silent: float = math.inf
    touches: tuple[Touch, ...] = ()

    def level(self, seconds: float) -> float:
        """Level left of it, of 1 at the pluck, above what is heard of a pedal that moves."""
        if seconds >= self.silent - _EPS:
            return 0.0
        left = level_of(self.midi, seconds - self.seconds)
        return left - AUDIBLE if left > AUDIBLE else 0.0

    def touched(self, hand: str, seconds: float) -> bool:
        """Tell whether a hand can damp it at that moment."""
        return any(t.hand == hand and t.start - _EPS <= seconds <= t.stop + _EPS
                   for t in self.touches)


class Hush(NamedTuple):
    """What a pedal pays that moves on ringing strings, and which a hand damps for it, and when."""

    price: int
    hand: str = ""
    moment: Moment = Moment(Fraction(0), 0.0)
    rings: tuple[Ring, ...] = ()


@dataclass(frozen=True, slots=True)
class _Stroke:
    """What one hand plucks at once: seconds, string places from the lowest up."""

    seconds: float
    places: tuple[int, ...]

    def beyond(self, place: int, span: int) -> int:
        """String steps by which a string lies outside the span of a hand that is here."""
        return max(0, place - self.places[0] - span, self.places[-1] - place - span)


class Hands:
    """What each hand plucks and when, to tell where it is free.

    Parameters
    ----------
    parts : slices in order; grace notes take no time here.
    damps : what is damped in any case, by a hand that has nothing else to do then.
    """

    def __init__(self, parts: Sequence[Slice], player: Player, damps: Sequence[Damp] = ()) -> None:
        self._player = player
        self.move = player.foot_move_seconds - _EPS
        self._lead = player.placing_lead_seconds
        self._strokes: dict[str, list[_Stroke]] = {"L": [], "R": []}
        self._plucks: defaultdict[int, list[tuple[float, float]]] = defaultdict(list)
        for part in parts:
            own = [n for n in part.notes if not n.source.grace]
            for hand, strokes in self._strokes.items():
                places = tuple(sorted(n.string.position for n in own if n.hand == hand))
                if places:
                    last = strokes[-1].seconds if strokes else -math.inf
                    ready = self._placed(last, part.seconds)
                    strokes.append(_Stroke(part.seconds, places))
                    for place in places:
                        self._plucks[place].append((part.seconds, ready))
        self._let_ring = frozenset((n.string.position, n.onset) for part in parts
                                   for n in part.notes if "let-ring" in n.source.marks)
        self._damped: defaultdict[int, list[float]] = defaultdict(list)
        for damp in damps:
            places = tuple(sorted(n.string.position for n in damp.notes))
            self._strokes[damp.hand].append(_Stroke(damp.seconds, places))
            for place in places:
                self._damped[place].append(damp.seconds)
        for strokes in self._strokes.values():
            strokes.sort(key=lambda s: s.seconds)
        self._times = {hand: [s.seconds for s in strokes]
                       for hand, strokes in self._strokes.items()}

    def may_touch(self, ring: Ring) -> bool:
        """Tell whether a string may be damped at all: not where the composer lets it ring."""
        return (ring.place, ring.onset) not in self._let_ring

    def both(self, before: Damp, places: Sequence[int], seconds: float) -> bool:
        """Tell whether the hand that has damped some strings can damp others at a moment.

        At the same moment it has to cover them all.
        """
        last = _Stroke(before.seconds, tuple(sorted(n.string.position for n in before.notes)))
        wait = abs(seconds - before.seconds)
        if wait < _EPS:
            return all(last.beyond(place, self._player.span_steps) == 0 for place in places)
        return wait >= self._lead + max(self._way(last, place) for place in places) - _EPS

    def silent(self, place: int, after: float) -> float:
        """Seconds from which a string plucked before is silent: damped, or a finger placed on it.

        Infinite where it is not plucked again.
        """
        plucks, damps = self._plucks.get(place, ()), self._damped.get(place, ())
        at = bisect_right(plucks, after + _EPS, key=lambda pluck: pluck[0])
        by = bisect_right(damps, after + _EPS)
        return min(plucks[at][1] if at < len(plucks) else math.inf,
                   damps[by] if by < len(damps) else math.inf)

    def _placed(self, last: float, pluck: float) -> float:
        """Seconds at which a finger lies on the string it plucks, after the hand's last stroke.

        A hand that has time for it is there early.
        """
        return max(pluck - _EARLY * self._lead, min(last, pluck - 2 * self._lead) + self._lead)

    def touches(self, place: int, begin: float, end: float) -> tuple[Touch, ...]:
        """Where either hand can damp a string between two moments."""
        return tuple(t for hand in "LR" for t in self._of(hand, place, begin, end))

    def _of(self, hand: str, place: int, begin: float, end: float) -> Iterator[Touch]:
        player, strokes = self._player, self._strokes[hand]
        lowest, highest = ((player.left_hand_lowest, player.left_hand_highest) if hand == "L" else
                           (player.right_hand_lowest, player.right_hand_highest))
        if not strokes or not lowest.position <= place <= highest.position:
            return
        at = bisect_left(self._times[hand], begin + _EPS)
        while True:
            before = strokes[at - 1] if at else None
            after = strokes[at] if at < len(strokes) else None
            start, stop = begin, end
            if before is not None:
                start = max(start, before.seconds + self._lead + self._way(before, place))
            if after is not None:  # a finger on a string it plucks next stays there
                stop = min(stop, after.seconds - (place not in after.places)
                           * (self._lead + self._way(after, place)))
            yield from (Touch(hand, *free) for free in self._uncrossed(hand, place, start, stop))
            if after is None or after.seconds >= end:
                return
            at += 1

    def _way(self, stroke: _Stroke, place: int) -> float:
        """Seconds a hand needs from or to a string that it does not span from where it is."""
        return (stroke.beyond(place, self._player.comfortable_span_steps)
                / self._player.travel_steps_per_second)

    def _uncrossed(self, hand: str, place: int, start: float,
                   stop: float) -> Iterator[tuple[float, float]]:
        """What is left of a stretch of time without the moments at which the hands would cross."""
        other = "R" if hand == "L" else "L"
        at = bisect_left(self._times[other], start - self._lead)
        for stroke in islice(self._strokes[other], at, None):
            if stroke.seconds > stop + self._lead:
                break
            if stroke.places[0] <= place if hand == "L" else stroke.places[-1] >= place:
                if start <= stroke.seconds - self._lead:
                    yield start, stroke.seconds - self._lead
                start = max(start, stroke.seconds + self._lead)
        if start <= stop + _EPS:
            yield start, stop


def with_hands(rings: Iterable[Ring], after: Fraction, before: Fraction, tempo: TempoMap,
               hands: Hands | None) -> tuple[Ring, ...]:
    """Return the rings that are heard between two onsets, with what hands do to them there.

    A finger that is placed too late for a pedal to move at ease is of no use to it. ``hands``:
    None does nothing.
    """
    begin, end = tempo.seconds(after), tempo.seconds(before)
    found = []
    for ring in rings:
        struck = tempo.seconds(ring.onset)
        timed = replace(ring, seconds=struck)
        if hands is not None:
            silent = hands.silent(ring.place, struck)
            timed = replace(timed, silent=silent if silent <= end - hands.move else math.inf)
        if timed.level(begin):
            found.append(timed)
    if hands is not None and found:
        silent = max(r.seconds + float(T60[r.midi]) for r in found)
        places = _places(min(r.onset for r in found), before, silent, tempo)
        found = [replace(r, touches=tuple(
            t._replace(best=_best(t, places)) for t in hands.touches(
                r.place, max(r.seconds, tempo.seconds(r.until)), end)
            if hands.may_touch(r))) for r in found]
    return tuple(found)


def _places(after: Fraction, before: Fraction, last: float, tempo: TempoMap) -> list[Moment]:
    """Beats and their halves and quarters between two onsets, up to a second."""
    found: list[Moment] = []
    for at in range(after // _GRID + 1, -(-before // _GRID)):
        found.append(Moment(at * _GRID, tempo.seconds(at * _GRID)))
        if found[-1].seconds > last:
            break
    return found


def _best(touch: Touch, places: Sequence[Moment]) -> Moment | None:
    """The last beat within a touch; if there is none the last half, or quarter of one."""
    within = [m for m in places if touch.start - _EPS <= m.seconds <= touch.stop + _EPS]
    return max(within, key=lambda m: (-m.onset.denominator, m.onset), default=None)


def hushed(rings: Sequence[Ring], moment: Moment, prices: Mapping[str, int],
           player: Player) -> Hush:
    """Price of a pedal that moves while its strings ring, one hand damping some if it pays."""
    paid = [((prices["ring"] + prices["held"] * (moment.onset < ring.until)) * left, ring)
            for ring in rings if (left := ring.level(moment.seconds))]
    paid.sort(key=lambda each: (-each[0], each[1].place))
    best = Hush(round(paid[0][0]) if paid else 0)
    if best.price <= prices["damp"]:
        return best
    ways = {(t.hand, at) for _, ring in paid for t in ring.touches if (at := t.at(moment))}
    for hand, at in sorted(ways, key=lambda way: (-way[1].seconds, way[0])):
        touched: list[Ring] = []
        for _, ring in paid:
            if ring.touched(hand, at.seconds) and all(
                    abs(ring.place - other.place) <= player.span_steps for other in touched):
                touched.append(ring)
        rest = next((price for price, ring in paid if ring not in touched), 0.0)
        if round(rest) + prices["damp"] < best.price:
            best = Hush(round(rest) + prices["damp"], hand, at, tuple(touched))
    return best
