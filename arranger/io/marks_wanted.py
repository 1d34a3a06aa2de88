"""Which pedal marks of a plan a part still lacks, given those the composer wrote."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise, takewhile

from arranger.model.draft import Draft, PedalMove
from arranger.model.harp import PEDALS, PedalSetting
from arranger.model.marks import PedalMark
from arranger.model.score import Score


@dataclass(frozen=True, slots=True)
class Wanted:
    """Whole settings and changes to be written, each in order of time."""

    settings: tuple[tuple[Fraction, PedalSetting], ...]
    moves: tuple[PedalMove, ...]


@dataclass(frozen=True, slots=True)
class _Sign:
    onset: Fraction
    letter: str
    alter: int


def wanted(draft: Draft, written: Sequence[PedalMark],
           diagrams_at: Iterable[Fraction] = ()) -> Wanted:
    """Return what is to be added to the marks of the part.

    A change counts as written where a mark of the same letter and position stands between the
    last note that needs the old position and the first that needs the new, and the music does not
    jump between that mark and the planned move. A setting counts as written where a whole one
    stands at its onset (at the start: up to the first note). A letter that the composer's opening
    leaves in a wrong place is set right by a change at its first note.

    Parameters
    ----------
    written : marks of the part as read, in order of time.
    diagrams_at : onsets of later settings.
    """
    uses = _uses(draft)
    jumps = _jumps(draft.source)
    signs = [_Sign(m.onset, p, a) for m in written for p, a in m.alters.items()]
    first = min((o for onsets in uses.values() for o in onsets), default=Fraction(0))
    whole = {m.onset for m in written if m.full}
    opened = any(onset <= first for onset in whole)
    moves = [m for move in draft.plan.moves
             if (m := _unmarked(move, draft, uses, jumps, signs)) is not None]
    if opened:
        moves = [*_corrections(draft, uses, signs), *moves]
    moves.sort(key=lambda m: m.onset)
    added = [*signs, *(_Sign(m.onset, m.pedal, m.after) for m in moves)]
    later = [o for o in sorted(set(diagrams_at)) if o > 0 and o not in whole]
    settings = [] if opened else [(Fraction(0), draft.plan.opening)]
    settings += [(onset, _standing(onset, draft, uses, added)) for onset in later]
    return Wanted(tuple(settings), tuple(moves))


def _uses(draft: Draft) -> dict[str, list[Fraction]]:
    """Onsets at which the pedal of each letter is needed, rising."""
    found: dict[str, set[Fraction]] = {letter: set() for letter in PEDALS}
    for note in draft.notes:
        if note.string not in draft.plan.fixed and not note.source.grace:
            found[note.pitch.step].add(note.onset)
    return {letter: sorted(onsets) for letter, onsets in found.items()}


def _jumps(score: Score) -> tuple[Fraction, ...]:
    """Barlines at which the music leaves the written order."""
    bars = score.measures
    found: set[Fraction] = set()
    for here, after in pairwise(score.playing_order):
        if after != here + 1:
            found |= {bars[here].onset + bars[here].duration, bars[after].onset}
    return tuple(sorted(found))


def _unmarked(move: PedalMove, draft: Draft, uses: Mapping[str, Sequence[Fraction]],
              jumps: Sequence[Fraction], signs: Sequence[_Sign]) -> PedalMove | None:
    """Return the move to be written, None where the marks inside its window end with it.

    A mark that shows the old position after the planned moment sends the move to its note.
    """
    others = [m.onset for m in draft.plan.moves if m.pedal == move.pedal and m != move]
    mine = uses[move.pedal]
    at = bisect_left(mine, move.onset)
    after = max((o for o in (*mine[max(at - 1, 0):at], *others) if o < move.onset),
                default=Fraction(-1))
    before = mine[at] if at < len(mine) else None
    next_move = min((o for o in others if o > move.onset), default=None)
    inside = [s for s in signs if s.letter == move.pedal and s.onset > after
              and (before is None or s.onset <= before)
              and (next_move is None or s.onset < next_move)]
    if not inside:
        return move
    last = inside[-1]
    right = takewhile(lambda s: s.alter == move.after, reversed(inside))
    if any(bisect_right(jumps, s.onset) == bisect_right(jumps, move.onset) for s in right):
        return None
    if last.alter != move.after and before is not None and move.onset <= last.onset < before:
        return replace(move, onset=before, seconds=draft.source.tempo.seconds(before))
    return move


def _corrections(draft: Draft, uses: Mapping[str, Sequence[Fraction]],
                 signs: Sequence[_Sign]) -> list[PedalMove]:
    """Changes for letters that stand wrong at their first note, which no planned move mends."""
    found = []
    for letter in PEDALS:
        if not uses[letter]:
            continue
        first = uses[letter][0]
        if any(m.pedal == letter and m.onset <= first for m in draft.plan.moves):
            continue
        stands = [s.alter for s in signs if s.letter == letter and s.onset <= first]
        wants = draft.plan.at(first).alter(letter)
        if stands and stands[-1] != wants:
            seconds = draft.source.tempo.seconds(first)
            found.append(PedalMove(first, seconds, letter, stands[-1], wants))
    return found


def _standing(onset: Fraction, draft: Draft, uses: Mapping[str, Sequence[Fraction]],
              signs: Sequence[_Sign]) -> PedalSetting:
    """Setting to show: what the next note of each letter needs, else what the marks say."""
    setting = draft.plan.at(onset)
    for letter in PEDALS:
        mine = sorted((s for s in signs if s.letter == letter), key=lambda s: s.onset)
        following = min((s.onset for s in mine if s.onset > onset), default=None)
        needed = any(o >= onset and (following is None or o < following) for o in uses[letter])
        before = [s.alter for s in mine if s.onset <= onset]
        if before and not needed:
            setting = setting.with_pedal(letter, before[-1])
    return setting
