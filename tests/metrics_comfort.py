"""How well a part lies under hands and feet: measures B, C, D and the comfort profile.

Everything comes from the written file: staff = hand, spelling = string.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from itertools import groupby, pairwise

import numpy as np
import numpy.typing as npt

from tests.metrics_fidelity import roles, sums
from tests.score_values import Note, Score
from tests.simulation_result import Move, SimulationResult

#: Measured once on open scores: piano parts as written, real harp parts, and the bar for a draft.
PIANO = {"letter_changes": 7.0, "letter_turn_fast": 1.2, "over_tenth": 0.64, "five_fingers": 0.12,
         "unison_clash": 0.09, "collision": 0.19, "adjacent_hands": 0.36, "fast_restrike": 1.75,
         "travel95": 27.0}
HARP = {"letter_changes": 3.8, "letter_turn_fast": 0.34, "over_tenth": 0.16, "five_fingers": 0.0,
        "unison_clash": 0.0, "collision": 0.19, "adjacent_hands": 0.36, "fast_restrike": 1.2,
        "travel95": 27.0}
BAR = {**HARP, "letter_changes": 5.2}
_EPS = 1e-9
_NATURAL_FIFTHS = dict(zip("FCGDAEB", range(7), strict=True))


def hand(note: Note) -> str:
    """R for the upper staff, L for any other."""
    return "R" if note.staff == 1 else "L"


def by_onset(notes: Iterable[Note]) -> list[tuple[Fraction, list[Note]]]:
    """Attacks in order, from the lowest up; graces left out."""
    ordered = sorted((n for n in notes if not n.grace), key=lambda n: (n.onset, n.midi))
    return [(onset, list(group)) for onset, group in groupby(ordered, key=lambda n: n.onset)]


def _strings(notes: Iterable[Note], side: str) -> list[int]:
    return sorted({n.position for n in notes if hand(n) == side})


def comfort_profile(notes: Sequence[Note], bpm: float, per: int | None = None) -> dict[str, float]:
    """The comfort profile; rates are per 100 attacked notes of the source.

    Parameters
    ----------
    notes : attacks of the part (ties joined; graces are left out here)
    bpm : the file's first tempo, 90 if it has none
    per : attacked notes of the source (default: of these notes); rates are per 100 of them
    """
    moments = by_onset(notes)
    count: Counter[str] = Counter()
    _letters(moments, bpm, count)
    _both_hands(moments, bpm, count)
    travel = [d for side in "RL" for d in _travel(moments, side, bpm)]
    base = per if per is not None else sum(len(g) for _, g in moments)
    rates = {name: 100 * count[name] / base if base else 0.0 for name in PIANO}
    return {**rates, "travel95": float(np.percentile(travel, 95)) if travel else 0.0,
            "over_tenth_unrolled": 100 * count["over_tenth_unrolled"] / base if base else 0.0,
            "notes": float(base)}


def _letters(moments: list[tuple[Fraction, list[Note]]], bpm: float, count: Counter[str]) -> None:
    last: dict[str, tuple[int, Fraction]] = {}
    for onset, group in moments:
        for note in group:
            alter, before = last.get(note.step, (note.alter, onset))
            if alter != note.alter:
                count["letter_changes"] += 1
                count["letter_turn_fast"] += _seconds(onset - before, bpm) < 0.4 - _EPS
            last[note.step] = (note.alter, onset)


def _both_hands(moments: list[tuple[Fraction, list[Note]]], bpm: float,
                count: Counter[str]) -> None:
    last: dict[tuple[str, int], Fraction] = {}
    for onset, group in moments:
        strings = {side: _strings(group, side) for side in "RL"}
        right, left = set(strings["R"]), set(strings["L"])
        count["unison_clash"] += len(right & left)
        count["adjacent_hands"] += sum(s + step in left for s in right for step in (-1, 1))
        for side, other in ("RL", "LR"):
            here = strings[side]
            if here:
                wide = here[-1] - here[0] > 9
                plain = not all(n.arpeggiate for n in group if hand(n) == side)
                count["over_tenth"] += wide
                count["over_tenth_unrolled"] += wide and plain
                count["five_fingers"] += len(here) > 4
            for string in here:
                gaps = {s: _seconds(onset - last[s, string], bpm)
                        for s in (side, other) if (s, string) in last}
                count["collision"] += gaps.get(other, 9.0) < 0.3 - _EPS
                count["fast_restrike"] += gaps.get(side, 9.0) < 0.2 - _EPS
        for side, here in strings.items():
            last.update({(side, string): onset for string in here})


def _travel(moments: list[tuple[Fraction, list[Note]]], side: str, bpm: float) -> list[float]:
    """Moves of the middle of one hand's attacks, in strings per second."""
    middles = [(onset, (here[0] + here[-1]) / 2) for onset, group in moments
               if (here := _strings(group, side))]
    return [abs(b - a) / _seconds(there - here, bpm)
            for (here, a), (there, b) in pairwise(middles)]


def _seconds(quarters: Fraction, bpm: float) -> float:
    return float(quarters) * 60 / bpm


def repetition(source: Sequence[Note], draft: Sequence[Note], score: Score) -> float | None:
    """C1: of the pairs of bars equal in the source, the share equal in the draft.

    Equal: the same (place in the bar, pitch, length); in the draft also string and hand. None if
    no bar returns.
    """
    ours = _bar_hashes(source, score, lambda n: (n.midi, n.duration))
    theirs = _bar_hashes(draft, score, lambda n: (n.midi, n.position, hand(n)))
    groups: defaultdict[object, Counter[object]] = defaultdict(Counter)
    for bar, content in ours.items():
        groups[content][theirs.get(bar, frozenset())] += 1
    pairs = sum(g.total() * (g.total() - 1) // 2 for g in groups.values())
    same = sum(k * (k - 1) // 2 for g in groups.values() for k in g.values())
    return same / pairs if pairs else None


def _bar_hashes(notes: Sequence[Note], score: Score,
                key: Callable[[Note], object]) -> dict[int, frozenset[object]]:
    bars: defaultdict[int, list[object]] = defaultdict(list)
    for note in notes:
        bar = score.bar_at(note.onset)
        bars[bar.index].append((note.onset - bar.onset, key(note)))
    return {i: frozenset(Counter(content).items()) for i, content in bars.items()}


def feet(result: SimulationResult, bars: int) -> dict[str, float]:
    """C2 moves a bar (mean, and the most in one bar), most moves of a foot a second; C3."""
    moves = result.written_moves
    changing = [m for m in moves if m.before is not None]
    double = sum(abs(m.after - m.before) == 2 for m in changing)  # type: ignore[operator]
    fastest = max((_window([m for m in result.moves if m.foot == foot]) for foot in "LR"),
                  default=0)
    return {"C2_mean": len(moves) / bars if bars else 0.0, "C2_foot_rate": fastest / 2,
            "C3": double / len(moves) if moves else 0.0, "moves": float(len(moves))}


def _window(moves: Sequence[Move], seconds: float = 2.0) -> int:
    """Most moves of one foot inside a window."""
    times = sorted(m.seconds for m in moves)
    return max((sum(t <= s < t + seconds - _EPS for s in times[i:i + 40])
                for i, t in enumerate(times)), default=0)


def moves_in_fullest_bar(result: SimulationResult, score: Score) -> int:
    """C2: most written moves in one bar."""
    counted = Counter(score.bar_at(m.onset).index for m in result.written_moves)
    return max(counted.values(), default=0)


def hands(notes: Sequence[Note], score: Score) -> dict[str, float]:
    """C5 travel of the hands in strings a second by the tempo map; C8 same finger again."""
    moments = by_onset(notes)
    clock = {onset: score.seconds(onset) for onset, _ in moments}
    travel: list[float] = []
    again = 0
    for side in "RL":
        mine = [(clock[o], [n for n in g if hand(n) == side]) for o, g in moments]
        mine = [(at, g) for at, g in mine if g]
        for (at, here), (then, there) in pairwise(mine):
            a, b = (sorted(n.position for n in g) for g in (here, there))
            travel.append(abs(a[0] + a[-1] - b[0] - b[-1]) / 2 / (then - at))
            if then - at < 0.25 - _EPS:
                again += _same_finger(here, there)
    return {"C5_mean": float(np.mean(travel)) if travel else 0.0,
            "C5_95": float(np.percentile(travel, 95)) if travel else 0.0,
            "C5_max": max(travel, default=0.0),
            "C8": 100 * again / len(notes) if notes else 0.0}


def slides(here: Sequence[Note], there: Sequence[Note]) -> bool:
    """Tell whether the thumb goes from one single note to the string below."""
    return (len(here) == len(there) == 1 and here[0].fingers[:1] == there[0].fingers[:1] == (1,)
            and here[0].position - there[0].position == 1)


def _same_finger(here: Sequence[Note], there: Sequence[Note]) -> int:
    """Fingers that must change their string between two attacks.

    A thumb that slides to the string below is none of them (Volpe Bligh).
    """
    if slides(here, there):
        return 0
    before = {f: n.position for n in here for f in n.fingers[:1]}
    return sum(before.get(f, n.position) != n.position for n in there for f in n.fingers[:1])


def troubles(notes: Sequence[Note], result: SimulationResult,
             score: Score) -> npt.NDArray[np.float64]:
    """When there is trouble, in seconds, ascending.

    A pedal move 1, another of the same foot within half a second 1 more, a string struck
    again within 0.25 s 1, a hand moving more than 27 strings a second 1.
    """
    times = [m.seconds for m in result.written_moves]
    times += [score.seconds(f.onset) for f in result.of("W-foot", "B5a", "B5b", "W-restrike", "B8")]
    moments = by_onset(notes)
    clock = {onset: score.seconds(onset) for onset, _ in moments}
    for side in "RL":
        mine = [(clock[o], s) for o, g in moments if (s := _strings(g, side))]
        times += [then for (at, a), (then, b) in pairwise(mine)
                  if abs(a[0] + a[-1] - b[0] - b[-1]) / 2 > 27 * (then - at)]
    return np.sort(np.array(times))


def hazard(when: npt.NDArray[np.float64]) -> float:
    """C10, a stand-in without prices: most trouble in any window of two seconds."""
    ends = np.searchsorted(when, when + 2.0 - _EPS)
    return float(np.max(ends - np.arange(len(when)))) if len(when) else 0.0


def dropped_roles(source: Sequence[Note], draft: Sequence[Note]) -> dict[str, float]:
    """D1: share of dropped notes by role, and their number."""
    left = sums(draft)
    lost: Counter[str] = Counter()
    for note, role in roles(source):
        if left[note.onset, note.midi] > 0:
            left[note.onset, note.midi] -= 1
        else:
            lost[role] += 1
    total = lost.total()
    names = ("melody", "bass", "third-seventh", "doubling", "other")
    return {**{f"D1_{r}": lost[r] / total if total else 0.0 for r in names},
            **{f"lost_{r}": float(lost[r]) for r in names}}


def enharmonic_doublings(draft: Sequence[Note], score: Score) -> dict[str, float]:
    """D2: pitches struck again within 0.33 s that have two strings; share that change string."""
    last: dict[int, tuple[float, set[int]]] = {}
    used = available = 0
    for onset, group in by_onset(draft):
        at = score.seconds(onset)
        strings: defaultdict[int, set[int]] = defaultdict(set)
        for note in group:
            strings[note.midi].add(note.position)
        for midi, here in strings.items():
            then, there = last.get(midi, (-9.0, set()))
            if at - then < 0.33 - _EPS and midi % 12 not in (2, 7, 9):
                available += 1
                used += not here & there
            last[midi] = (at, here)
    return {"D2": used / available if available else 0.0, "D2_available": float(available)}


def respelling(source: Sequence[Note], draft: Sequence[Note]) -> dict[str, float]:
    """D3: kept notes on another letter than the source's, of all and of those outside the key."""
    theirs = {(n.onset, n.midi): n for n in draft}
    kept = [(n, theirs[n.onset, n.midi]) for n in source if (n.onset, n.midi) in theirs]
    changed = [n for n, m in kept if (n.step, n.alter) != (m.step, m.alter)]
    chromatic = [n for n, _ in kept if not _in_key(n)]
    outside = sum(not _in_key(n) for n in changed)
    return {"D3": len(changed) / len(kept) if kept else 0.0,
            "D3_chromatic": outside / len(chromatic) if chromatic else 0.0}


def _in_key(note: Note) -> bool:
    """Whether the spelling belongs to the key signature."""
    return 0 <= _NATURAL_FIFTHS[note.step] + 7 * note.alter - note.fifths < 7


def legible_moves(notes: Sequence[Note], result: SimulationResult, score: Score) -> float | None:
    """D4: share of moves a beat or more before the letter is plucked and not inside a run.

    A beat is the metre's unit; a run: the attacks around the move are less than 0.2 s apart.
    """
    onsets = sorted({n.onset for n in notes if not n.grace})
    uses: defaultdict[str, list[Fraction]] = defaultdict(list)
    for note in notes:
        uses[note.step].append(note.onset)
    good = 0
    moves = result.written_moves
    for move in moves:
        beat = Fraction(4, score.bar_at(move.onset).beat_type)
        ahead = min((u for u in uses[move.letter] if u >= move.onset), default=None)
        before = max((o for o in onsets if o <= move.onset), default=None)
        after = min((o for o in onsets if o > move.onset), default=None)
        inside = before is not None and after is not None \
            and score.seconds(after) - score.seconds(before) < 0.2 - _EPS
        good += (ahead is None or ahead - move.onset >= beat) and not inside
    return good / len(moves) if moves else None
