"""Where wire strings ring on into a harmony foreign to them, and where a hand can damp them.

The harp has no damper pedal: a string sounds until it dies away, is struck again or is touched. A
string is foreign to a harmony that lacks its pitch class and has a semitone beside it. Numbers:
``rules/damping.toml`` and rule M1; how long strings ring: ``plan.ring``.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import takewhile

import numpy as np

from arranger.model.draft import Damp, HarpNote
from arranger.model.harp import HarpString
from arranger.model.score import Score
from arranger.plan.ring import T60, level_of
from arranger.plan.slices import Slice, clock, slices
from arranger.rulebook.damping import load_damping
from arranger.rulebook.rules import rule

_EPS = 1e-6
_DECADES = 3.0  # powers of ten from a pluck to a level 60 dB below it


@dataclass(frozen=True, slots=True)
class Blur:
    """Strings that sound on, foreign, from where a harmony enters.

    ``start`` and ``stop`` in seconds; ``onset`` in quarter notes. ``rings``: the notes, with the
    seconds of their plucks, loudest first.
    """

    onset: Fraction
    start: float
    stop: float
    rings: tuple[tuple[HarpNote, float], ...]

    def exposure(self, start: float | None = None) -> float:
        """Level times seconds heard from ``start`` on, all strings together."""
        begin = self.start if start is None else start
        return sum(_heard(note.pitch.midi, begin - struck, self.stop - struck)
                   for note, struck in self.rings)


def _heard(midi: int, begin: float, end: float) -> float:
    """Level integrated over ages ``begin`` to ``end`` of a string, 1 at the pluck."""
    if end <= begin:
        return 0.0
    rate = _DECADES * float(np.log(10.0)) / float(T60[midi])
    return float((np.exp(-rate * begin) - np.exp(-rate * end)) / rate)


def damping(notes: Sequence[HarpNote], score: Score, top: HarpString) -> tuple[Damp, ...]:
    """Moments at which the left hand damps what would blur worst; few, as a player marks them.

    ``top``: the highest wire string.
    """
    return tuple(damp for _, damp in damped(notes, score, top) if damp is not None)


def damped(notes: Sequence[HarpNote], score: Score,
           top: HarpString) -> list[tuple[Blur, Damp | None]]:
    """Every blur in order of time, with what is done about it; a damped string is silent."""
    parts = slices([n for n in notes if not n.source.grace], score.tempo)
    hand = [p.seconds for p in parts if any(n.hand == "L" for n in p.notes)]
    least = load_damping().exposure
    found: list[tuple[Blur, Damp | None]] = []
    ringing: dict[int, tuple[HarpNote, float]] = {}
    silent_until = -1.0
    for at, part in enumerate(parts):
        blur = _blur(parts, at, ringing, score)
        if blur is not None:
            moment = None
            if blur.exposure() >= least and part.seconds >= silent_until - _EPS:
                moment = _moment(blur, hand, score)
            if moment is None:
                found.append((blur, None))
            else:
                onset, seconds = moment
                found.append((blur, Damp(onset, seconds, "L", tuple(n for n, _ in blur.rings))))
                silent_until = seconds + load_damping().apart_seconds
                for note, _ in blur.rings:
                    ringing.pop(note.pitch.position, None)
        for note in part.notes:
            if note.string <= top:
                ringing[note.pitch.position] = (note, part.seconds)
    return found


def _blur(parts: Sequence[Slice], at: int, ringing: Mapping[int, tuple[HarpNote, float]],
          score: Score) -> Blur | None:
    """What rings on, foreign, where this slice opens a harmony; None if nothing does."""
    here = parts[at]
    loud = 10.0 ** (rule("P2").number("bad_decibels") / 20.0)
    rings = [(n, s) for n, s in ringing.values()
             if n.source.end <= here.onset and "let-ring" not in n.source.marks
             and level_of(n.pitch.midi, here.seconds - s) > loud]
    if not rings or not _on_a_beat(here.onset, score):
        return None
    stop, shares = _harmony(parts, at, score)
    weighty = {pc for pc, share in shares.items() if share >= load_damping().share}
    foreign = [(n, s) for n, s in rings if n.pitch.pitch_class not in shares
               and {(n.pitch.midi + step) % 12 for step in (1, 11)} & weighty]
    if not foreign or len(shares) < 3:  # a chord has three notes
        return None
    foreign.sort(key=lambda ring: (
        -level_of(ring[0].pitch.midi, here.seconds - ring[1]), ring[0].id))
    loudest, struck = foreign[0]
    ends = min(stop, struck + float(T60[loudest.pitch.midi]) * _audible_share())
    later = takewhile(lambda p: p.seconds < ends, _onwards(parts, at))
    ends = next((p.seconds for p in later if any(
        n.pitch.position == loudest.pitch.position for n in p.notes)), ends)
    if ends - here.seconds < load_damping().blur_seconds - _EPS:
        return None
    return Blur(here.onset, here.seconds, ends, tuple(foreign))


def _onwards(parts: Sequence[Slice], at: int) -> Iterator[Slice]:
    """Slices from one on; a long piece is not copied for a look at the next few."""
    return (parts[i] for i in range(at, len(parts)))


def _audible_share() -> float:
    """Part of a string's decay by 60 dB in which it is heard (rule P2)."""
    return rule("P2").number("audible_decibels") / -60.0


def _on_a_beat(onset: Fraction, score: Score) -> bool:
    bar = score.measure_at(onset)
    return (onset - bar.onset) * bar.beat_type % 4 == 0


def _harmony(parts: Sequence[Slice], at: int, score: Score) -> tuple[float, Mapping[int, float]]:
    """End in seconds of the harmony a slice opens, and the share of it each pitch class sounds.

    It lasts to the end of its bar; notes sound as written.
    """
    here = parts[at]
    bar = score.measure_at(here.onset)
    end = bar.onset + bar.duration
    sums: defaultdict[int, Fraction] = defaultdict(Fraction)
    for part in _onwards(parts, max(0, at - 24)):
        if part.onset >= end:
            break
        for note in part.notes:
            length = min(note.source.end, end) - max(part.onset, here.onset)
            if length > 0:
                sums[note.pitch.pitch_class] += length
    whole = end - here.onset
    return clock(score.tempo, [end])[0], {pc: float(length / whole) for pc, length in sums.items()}


def _moment(blur: Blur, hand: Sequence[float],
            score: Score) -> tuple[Fraction, float] | None:
    """First beat of the blur at which the hand is free, with its seconds; None if there is none."""
    need, gain = rule("M1").number("seconds"), load_damping().blur_seconds
    for onset, seconds in _beats(blur, score):
        if blur.stop - seconds < gain - _EPS:
            return None
        place = bisect_left(hand, seconds - _EPS)
        before = place == 0 or seconds - hand[place - 1] >= need / 2 - _EPS
        after = place == len(hand) or hand[place] - seconds >= need - _EPS
        if before and after:
            return onset, seconds
    return None


def _beats(blur: Blur, score: Score) -> Iterator[tuple[Fraction, float]]:
    """Beats of the bar from where the harmony enters, with their seconds."""
    bar = score.measure_at(blur.onset)
    beat = Fraction(4, bar.beat_type)
    onsets = [blur.onset]
    while onsets[-1] + beat < bar.onset + bar.duration:
        onsets.append(onsets[-1] + beat)
    yield from zip(onsets, clock(score.tempo, onsets), strict=True)
