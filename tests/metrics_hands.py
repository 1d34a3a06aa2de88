"""Measures C4, C6, C7, C9, C11 and how fingers read, and all of B, C and D together.

Everything comes from the written file: staff = hand, spelling = string, fingerings as printed.
"""

from __future__ import annotations

import math
import re
from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import pairwise
from statistics import mean

import numpy as np

from tests.metrics_comfort import (
    by_onset,
    dropped_roles,
    enharmonic_doublings,
    feet,
    hand,
    hands,
    hazard,
    legible_moves,
    moves_in_fullest_bar,
    repetition,
    respelling,
    slides,
    troubles,
)
from tests.metrics_fidelity import attacks
from tests.score_values import Bar, Mark, Note, Score
from tests.simulation_result import SimulationResult

#: Strings a second a hand moves at ease: the 95th percentile in printed harp parts, measured.
TRAVEL = 27.0
#: Seconds a finger should lie on its string before it plucks (assumption).
PLACING = 0.1
#: Strings that two neighbouring fingers, by the upper one, open at most at ease (common practice).
_PAIRS = {1: 5, 2: 3, 3: 3}
#: Most strings, upwards, from one single note to the next where the thumb is passed (assumption).
_TURN = 4
#: Seconds a finger needs to its string (Chadefaux et al. 2012, mean length of a pluck).
FINGER = 0.2
#: Seconds a foot needs for a move at ease (assumption).
MOVE = 0.25
_EPS = 1e-9

Attack = tuple[float, list[Note]]  #: seconds, notes of one hand from the lowest up


def decay_seconds(midi: int) -> float:
    """Time to fall by 60 dB: 4.5 s at middle C, 12 s at most (assumption; rule P2 has the same)."""
    return min(12.0, 4.5 * 2 ** (-0.8 * (midi - 60) / 12))


def of_hand(notes: Iterable[Note], score: Score, side: str) -> list[Attack]:
    """Attacks of one hand."""
    return [(score.seconds(onset), sorted(mine, key=lambda n: n.position))
            for onset, group in by_onset(notes) if (mine := [n for n in group if hand(n) == side])]


def ring_exposure(notes: Sequence[Note], result: SimulationResult,
                  score: Score) -> dict[str, float]:
    """C4: level left, of 1, of the loudest string a pedal is moved on, summed per 100 notes.

    ``C4_loud``: such moves on a string above 0.3, per 100 notes. Both as if no string were ever
    touched. ``C4_damped``: C4 where strings are silent after a damping sign whose hand is free;
    ``C4_placed``: and where a finger is placed on them for their next pluck: at most 0.4 s before,
    at least 0.2 s after the hand's last stroke, and for a move that has its time.
    ``damps``: signs per 100 bars; ``damps_busy``: those among them whose hand is not free.
    """
    struck: defaultdict[str, list[Note]] = defaultdict(list)
    for note in notes:
        struck[note.step].append(note)
    strokes = {side: [at for at, _ in of_hand(notes, score, side)] for side in "RL"}

    def lies(note: Note, seconds: float) -> bool:
        pluck, mine = score.seconds(note.onset), strokes[hand(note)]
        last = mine[at - 1] if (at := bisect_left(mine, pluck - _EPS)) else -math.inf
        return (MOVE - _EPS <= pluck - seconds <= 2 * FINGER + _EPS
                and seconds - last >= FINGER - _EPS)

    signs = [m for m in score.marks if m.kind in ("damp", "damp-all")
             and notes and m.part == notes[0].part]
    free = [m for m in signs if hand_free(m, notes, score)]
    sums: Counter[str] = Counter()
    for move in result.written_moves:
        last: dict[int, Note] = {}
        for note in struck[move.letter]:
            if note.onset < move.onset and note.alter == move.before:
                last[note.midi] = max(last.get(note.midi, note), note, key=lambda n: n.onset)
        levels = {note: 10 ** (-3 * max(0.0, move.seconds - score.seconds(note.onset))
                               / decay_seconds(midi)) for midi, note in last.items()}
        undamped = {note: level for note, level in levels.items()
                    if not any(_damps(m, note, move.onset, levels) for m in free)}
        placed = {n.position for n in struck[move.letter]
                  if n.onset >= move.onset and lies(n, move.seconds)}
        loudest = max(levels.values(), default=0.0)
        sums["C4"] += loudest
        sums["C4_loud"] += loudest > 0.3
        sums["C4_damped"] += max(undamped.values(), default=0.0)
        sums["C4_placed"] += max((level for note, level in undamped.items()
                                  if note.position not in placed), default=0.0)
    per = 100 / len(notes) if notes else 0.0
    return {**{name: per * sums[name] for name in ("C4", "C4_loud", "C4_damped", "C4_placed")},
            "damps": 100 * len({m.direction for m in signs}) / len(score.bars),
            "damps_busy": 100 * (len(signs) - len(free)) / len(score.bars)}


def hand_free(sign: Mark, notes: Sequence[Note], score: Score) -> bool:
    """Tell whether the hand of a sign's staff has time to damp and to go on.

    It has plucked 0.2 s before at the latest, and plucks 0.2 s later at the earliest, or then one
    of the strings it damps.
    """
    at = score.seconds(sign.onset)
    mine = [n for n in notes if (n.staff == 1) == (sign.staff == 1)]
    if any(at - FINGER + _EPS < score.seconds(n.onset) <= at for n in mine):
        return False
    soon = [n for n in mine if at < score.seconds(n.onset) < at + FINGER - _EPS]
    first = [n for n in soon if n.onset == soon[0].onset]
    return not soon or any(n.step in _letters(sign) for n in first)


def _letters(sign: Mark) -> str:
    """Letters of the strings a sign is for; all of them where nothing is said."""
    said = re.search(r"damp (?:low )?([A-G](?:, [A-G])*)$", sign.text)
    return said[1] if said and sign.kind == "damp" else "ABCDEFG"


def _damps(sign: Mark, note: Note, until: Fraction, levels: Mapping[Note, float]) -> bool:
    """Tell whether a sign silences a note: that of its letter, or the loudest within a hand."""
    loudest = max(levels, key=levels.__getitem__)
    return (note.end <= sign.onset <= until and note.step in _letters(sign)
            and abs(note.position - loudest.position) <= 9)


def placing_slack(notes: Sequence[Note], score: Score) -> float | None:
    """C6: seconds to spare where a hand goes to other strings, 5th percentile.

    Needed are the way at ease and the moment in which fingers lie on their strings.
    """
    spare = []
    for side in "RL":
        for (at, here), (then, there) in pairwise(of_hand(notes, score, side)):
            if {n.position for n in here} != {n.position for n in there}:
                spare.append(then - at - PLACING - abs(_middle(there) - _middle(here)) / TRAVEL)
    return float(np.percentile(spare, 5)) if spare else None


def _middle(notes: Sequence[Note]) -> float:
    return (notes[0].position + notes[-1].position) / 2


def balance(notes: Sequence[Note], score: Score) -> float | None:
    """C7: difference of the hands' shares in bars of six single notes and more, in the mean."""
    bars: defaultdict[int, list[list[Note]]] = defaultdict(list)
    for onset, group in by_onset(notes):
        bars[score.bar_at(onset).index].append(group)
    broken = [[g[0] for g in groups] for groups in bars.values()
              if len(groups) >= 6 and all(len(g) == 1 for g in groups)]
    return mean(abs(sum(1 if hand(n) == "L" else -1 for n in bar)) / len(bar)
                for bar in broken) if broken else None


def irrational_fingers(notes: Sequence[Note], score: Score) -> float | None:
    """C9: share of neighbouring fingers out of order, too far apart, or jumping over one another.

    Neighbours: in a grip, and from one single note to the next within half a second.
    """
    judged = [ok for side in "RL" for ok in _pairs(of_hand(notes, score, side))]
    return 1 - sum(judged) / len(judged) if judged else None


def _pairs(attacks: Sequence[Attack]) -> Iterator[bool]:
    for _, grip in attacks:
        for low, high in pairwise(grip):
            if low.fingers and high.fingers:
                a, b = low.fingers[0], high.fingers[0]
                yield a > b and high.position - low.position <= sum(
                    _PAIRS[f] for f in range(b, a))
    for (at, here), (then, there) in pairwise(attacks):
        if len(here) == len(there) == 1 and then - at < 0.5 - _EPS:
            one, two = here[0], there[0]
            if one.fingers and two.fingers and one.position != two.position:
                yield slides(here, there) or _follows(
                    one.fingers[0], two.fingers[0], two.position - one.position)


def _follows(before: int, after: int, steps: int) -> bool:
    """Tell whether fingers run on, or pass the thumb by a step that a hand turns on."""
    rising = before - after if steps > 0 else after - before
    if rising == 0:
        return abs(steps) > _TURN  # the hand is carried there
    if rising > 0:
        return True
    return 1 in (before, after) and (abs(steps) <= _TURN or abs(steps) > 2 * _TURN)


def read_at_sight(notes: Sequence[Note], score: Score) -> dict[str, float | None]:
    """How the fingers of a hand read: equal figures alike, and groups that begin on beats.

    Figures: what one hand plucks in a bar, or in a beat with the attack after it, two attacks at
    least; equal ones have the same places in time and the same strings above the first.
    ``alike_bars``, ``alike_beats``: share of the pairs of equal figures with equal fingers.
    ``begun_on_beat``: of attacks within a beat of the one before at which the hand is placed anew
    (the fingers do not go on, or not the way they went), the share on a beat.
    """
    pairs: Counter[tuple[str, bool]] = Counter()
    begun: Counter[bool] = Counter()
    for side in "RL":
        mine = [(onset, sorted(g, key=lambda n: n.position)) for onset, group in by_onset(notes)
                if (g := [n for n in group if hand(n) == side and n.fingers])]
        for kind in ("bars", "beats"):
            for fingers in _figures(mine, score, kind).values():
                total = sum(fingers.values())
                same = sum(k * (k - 1) // 2 for k in fingers.values())
                pairs[kind, True] += same
                pairs[kind, False] += total * (total - 1) // 2 - same
        way = 0
        for (before, a), (onset, b) in pairwise(mine):
            bar, ahead = score.bar_at(onset), _goes_on(a, b)
            way = ahead if way in (0, ahead) else 0
            if onset - before < _beat(bar) and not way:
                begun[(onset - bar.onset) % _beat(bar) == 0] += 1
    return {"alike_bars": _share(pairs["bars", True], pairs["bars", False]),
            "alike_beats": _share(pairs["beats", True], pairs["beats", False]),
            "begun_on_beat": _share(begun[True], begun[False])}


def _share(yes: int, no: int) -> float | None:
    return yes / (yes + no) if yes + no else None


def _beat(bar: Bar) -> Fraction:
    compound = bar.beats % 3 == 0 and bar.beats > 3 and bar.beat_type >= 8
    return Fraction(4, bar.beat_type) * (3 if compound else 1)


def _figures(mine: Sequence[tuple[Fraction, list[Note]]], score: Score,
             kind: str) -> dict[object, Counter[object]]:
    """Fingers of the figures of one hand, by what is plucked."""
    places: defaultdict[object, list[int]] = defaultdict(list)
    for at, (onset, _) in enumerate(mine):
        bar = score.bar_at(onset)
        beat = (onset - bar.onset) // _beat(bar) if kind == "beats" else 0
        places[bar.index, beat].append(at)
    found: defaultdict[object, Counter[object]] = defaultdict(Counter)
    for row in places.values():
        if len(row) >= 2:
            onset, first = mine[row[0]]
            start = onset if kind == "beats" else score.bar_at(onset).onset
            seen = [*row, row[-1] + 1] if kind == "beats" and row[-1] + 1 < len(mine) else row
            figure = tuple((mine[at][0] - start,
                            tuple(n.position - first[0].position for n in mine[at][1]))
                           for at in seen)
            found[figure][tuple(n.fingers[0] for at in row for n in mine[at][1])] += 1
    return found


def _goes_on(a: Sequence[Note], b: Sequence[Note]) -> int:
    """Way from an attack to one ahead of it, fingers in order, or by a slide: 1, -1; else 0."""
    if b[0].position > a[-1].position:
        return int(b[0].fingers[0] < a[-1].fingers[0])
    if b[-1].position < a[0].position:
        return -int(b[-1].fingers[0] > a[0].fingers[0] or slides(a, b))
    return 0


def difficulty_rate(troubles: np.ndarray) -> float:
    """C11, a stand-in without prices: troubles a second in windows of two, 95th percentile.

    ``troubles``: seconds of each, ascending (see ``metrics_comfort.troubles``).
    """
    if not len(troubles):
        return 0.0
    starts = np.arange(0.0, float(troubles[-1]) + 1e-6, 0.5)
    counts = np.searchsorted(troubles, starts + 2 - _EPS) - np.searchsorted(troubles, starts)
    return float(np.percentile(counts, 95)) / 2


def comfort(source: Sequence[Note], draft: Sequence[Note], score: Score,
            result: SimulationResult) -> dict[str, float | None]:
    """Measures B, C and D of a draft (raw notes; ``score`` is the draft's, for time and bars)."""
    ours, theirs = attacks(source), attacks(draft)
    trouble = troubles(theirs, result, score)
    return {**{k: float(v) for k, v in result.counts.items()},
            "violations": float(result.violations), "C1": repetition(ours, theirs, score),
            **feet(result, len(score.bars)),
            "C2_max": float(moves_in_fullest_bar(result, score)),
            **ring_exposure(theirs, result, score), **hands(theirs, score),
            "C6": placing_slack(theirs, score), "C7": balance(theirs, score),
            "C9": irrational_fingers(theirs, score), "C10": hazard(trouble),
            "C11": difficulty_rate(trouble), **dropped_roles(ours, theirs),
            **enharmonic_doublings(theirs, score), **respelling(ours, theirs),
            "D4": legible_moves(theirs, result, score), **read_at_sight(theirs, score)}
