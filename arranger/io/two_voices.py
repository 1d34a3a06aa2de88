"""Which voice of a staff each note takes in a bar, and how long it is written there.

A staff is read in two voices. What is struck together is shared between them from the top down or
by length, and one voice holds one chord at a time. Where that does not go, a third voice, between
them, takes a note that is held, if much would be lost without it; else a note is written shorter
than it was: a plucked string rings on, however its value is written (common practice). The
sharing is the cheapest over the whole bar (shortest path over the moments).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby
from typing import NamedTuple

from lxml import etree

#: Prices (assumptions): of a quarter note's length lost of an inner note, and how many times that
#: the outer note of the staff costs, a note that another one doubles, and a note that only goes on
#: from the bar before; a tie over the bar line that is cut; a moment with two voices; a lower voice
#: alone; voices that cross; a chord in the third voice.
_OUTER, _DOUBLED, _HELD = 3.0, 0.4, 0.6
_TIE, _TWO, _ALONE, _CROSSED, _THIRD = 1.0, 0.1, 0.05, 0.25, 0.3
#: So long at least, in quarter notes, is what a third voice holds (assumption).
_LONG = Fraction(1)
_MOST_STATES = 24


@dataclass(frozen=True, slots=True)
class Head:
    """A written note in its bar: ``onset`` and ``length`` in quarter notes from the bar's start.

    ``position`` is its diatonic place; ``held``: tied from the bar before, not struck;
    ``tied``: goes on into the next bar; ``outer``: highest of the right or lowest of the left
    hand at its moment; ``doubled``: its note name sounds in another octave too, as
    long as it does.
    """

    note: etree._Element
    onset: Fraction
    length: Fraction
    position: int
    held: bool = False
    tied: bool = False
    outer: bool = False
    doubled: bool = False

    @property
    def end(self) -> Fraction:
        """Where it ends."""
        return self.onset + self.length

    @property
    def weight(self) -> float:
        """What a quarter note of its length is worth."""
        return ((_OUTER if self.outer else 1.0) * (_DOUBLED if self.doubled else 1.0)
                * (_HELD if self.held else 1.0))


class Place(NamedTuple):
    """Voice 1, 2 or 3 and written length of a note; ``length`` 0 where it is not written."""

    voice: int
    length: Fraction


class _Lane(NamedTuple):
    """What a voice holds: until when, what a quarter of it is worth, its range, its moment."""

    end: Fraction
    weight: float
    tied: float
    bottom: int
    top: int
    onset: Fraction


Voices = tuple[tuple[Head, ...], ...]  # upper, lower and third, each highest note first


class _Moment(NamedTuple):
    """What the voices strike at one moment, and what was before."""

    before: _Moment | None
    onset: Fraction
    voices: Voices


class _State(NamedTuple):
    cost: float
    lanes: tuple[_Lane | None, ...]
    last: _Moment | None


def share(heads: Sequence[Head],
          fitting: Callable[[Fraction], Fraction]) -> dict[etree._Element, Place]:
    """Give every note of one staff in one bar its voice and its written length.

    Parameters
    ----------
    heads : the notes of the staff in the bar.
    fitting : the longest length that can be written as one value within a length.
    """
    states = [_State(0.0, (None, None, None), None)]
    for onset, group in groupby(sorted(heads, key=lambda h: (h.onset, -h.position)),
                                key=lambda h: h.onset):
        here = list(group)
        ways = _ways(here)
        best: dict[tuple[object, ...], _State] = {}
        for state in states:
            for cost, voices in ways:
                made = _step(state, onset, cost, voices)
                known = best.get(made.lanes)
                if known is None or made.cost < known.cost - 1e-9:
                    best[made.lanes] = made
        states = sorted(best.values(), key=lambda s: s.cost)[:_MOST_STATES]
    return _written(states[0], heads, fitting)


Way = tuple[float, Voices]


def _ways(heads: list[Head]) -> list[Way]:
    """Ways to share what stands at one moment, highest first, with what each costs."""
    made: list[Way] = []
    struck = [h for h in heads if not h.held]
    for notes in (heads, struck) if len(struck) < len(heads) else (heads,):
        lost = sum(h.weight * float(h.length) for h in heads if h not in notes)
        for voices in _shared(notes):
            made.append((lost + sum(_shortened(v) for v in voices), voices))
    return made


def _shared(notes: list[Head]) -> Iterator[Voices]:
    """From the top down; and what has one length in a voice of its own, the second or the third."""
    for cut in range(len(notes) + 1):
        yield tuple(notes[:cut]), tuple(notes[cut:]), ()
    for length in sorted({h.length for h in notes}):
        alike = tuple(h for h in notes if h.length == length)
        others = [h for h in notes if h.length != length]
        if others:
            yield tuple(others), alike, ()
            yield alike, tuple(others), ()
        if length >= _LONG and not any(h.outer for h in alike):
            for cut in range(len(others) + 1):
                yield tuple(others[:cut]), tuple(others[cut:]), alike


def _shortened(notes: Sequence[Head]) -> float:
    """What it costs to write these as one chord."""
    if not notes:
        return 0.0
    length = min(h.length for h in notes)
    return sum(h.weight * float(h.length - length) + (_TIE if h.tied else 0.0)
               for h in notes if h.length > length)


def _step(state: _State, onset: Fraction, cost: float, voices: Voices) -> _State:
    cost += state.cost
    lanes: list[_Lane | None] = []
    for lane, notes in zip(state.lanes, voices, strict=True):
        goes_on = lane if lane is not None and lane.end > onset else None
        if notes:
            if goes_on is not None:
                cost += goes_on.weight * float(goes_on.end - onset) + goes_on.tied
            length = min(h.length for h in notes)
            goes_on = _Lane(onset + length, sum(h.weight for h in notes),
                            sum(_TIE for h in notes if h.tied and h.length == length),
                            min(h.position for h in notes), max(h.position for h in notes), onset)
        lanes.append(goes_on)
    first, second, third = lanes
    if second is not None:
        cost += _ALONE if first is None else _TWO
        if first is not None and second.top >= first.bottom and (
                voices[1] or second.top > first.top):  # a chord around a held note is no crossing
            cost += _CROSSED
    if third is not None and voices[2]:
        cost += _THIRD
        if first is None or second is None or third.top > first.top \
                or third.bottom < second.bottom:
            cost += _CROSSED + (_TWO if second is None else 0.0)
    return _State(cost, tuple(lanes), _Moment(state.last, onset, voices))


def _written(state: _State, heads: Sequence[Head],
             fitting: Callable[[Fraction], Fraction]) -> dict[etree._Element, Place]:
    """Follow the cheapest path back: voices, and lengths up to the next chord of the voice."""
    placed = {h.note: Place(1, Fraction(0)) for h in heads}
    ends: list[Fraction | None] = [None, None, None]
    moment = state.last
    while moment is not None:
        for voice, notes in enumerate(moment.voices):
            if not notes:
                continue
            length, after = min(h.length for h in notes), ends[voice]
            if after is not None and moment.onset + length > after:
                length = fitting(after - moment.onset)
            placed |= {head.note: Place(voice + 1, length) for head in notes}
            ends[voice] = moment.onset
        moment = moment.before
    return placed
