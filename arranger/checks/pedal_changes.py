"""Where a letter is wanted in a new position, in the order the music is played."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from arranger.checks.case import Case
from arranger.model.harp import LEFT_FOOT
from arranger.model.marks import PedalMark
from arranger.model.score import Note, NoteId
from arranger.plan.unfolded import stretches

_BEATS_BACK = 6  # beats looked at before the new note (assumption)


@dataclass(frozen=True, slots=True)
class Change:
    """A letter wanted in a new position: last note in the old one, first in the new.

    ``before``: the last note of every string of the letter, plucked in the old position, with
    the seconds from its pluck to that of ``new``; ``jump``: they meet only where the music jumps.
    """

    old: Note
    new: Note
    gap: float  # seconds between the two plucks
    before: tuple[tuple[Note, float], ...] = ()
    jump: bool = False

    @property
    def notches(self) -> int:
        """1, or 2 from flat to sharp or back."""
        return abs(self.new.pitch.alter - self.old.pitch.alter)


@dataclass(frozen=True, slots=True)
class _Struck:
    """Notes of a letter plucked at one moment, in a stretch of the playing order, at a second."""

    notes: tuple[Note, ...]
    stretch: int
    time: float


def changes(case: Case) -> Iterator[Change]:
    """All changes of the letters as spelled, as they are played, each once (at its quickest)."""
    least: dict[tuple[NoteId, NoteId], float] = {}
    last: dict[str, _Struck] = {}
    strings: dict[str, dict[int, tuple[Note, float]]] = {}
    for struck in _played(case):
        letter, alter = struck.notes[0].pitch.step, struck.notes[0].pitch.alter
        before = last.get(letter)
        ringing = strings.setdefault(letter, {})
        if before and any(n.pitch.alter != alter for n in before.notes):
            old, new = next(n for n in before.notes if n.pitch.alter != alter), struck.notes[0]
            gap = struck.time - before.time
            if gap < least.get((old.id, new.id), float("inf")) - 1e-6:
                least[old.id, new.id] = gap
                yield Change(old, new, gap, tuple((n, struck.time - t) for n, t in ringing.values()
                                                  if n.pitch.alter != alter),
                             before.stretch != struck.stretch)
            ringing.clear()
        if all(n.pitch.alter == alter for n in struck.notes):  # else S1 tells of them
            ringing.update((n.pitch.position, (n, struck.time)) for n in struck.notes)
        last[letter] = struck


def over_jumps(case: Case) -> frozenset[tuple[NoteId, ...]]:
    """Old and new note of every change that is only played, not written, one after another."""
    if not case.score.jumps:
        return frozenset()
    return frozenset((c.old.id, c.new.id) for c in changes(case) if c.jump)


def _played(case: Case) -> Iterator[_Struck]:
    """What is plucked of each letter, moment by moment in playing order."""
    rows = [(key[0], [tuple(n for n in notes if n.pitch.step == letter)
                      for letter in dict.fromkeys(n.pitch.step for n in notes)])
            for key, group in groupby(case.pedalled(), key=lambda n: (n.measure, n.onset))
            for notes in (list(group),)]
    for rank, stretch in enumerate(stretches(case.score)):
        for measure, letters in rows:
            if stretch.first <= measure <= stretch.last:
                for notes in letters:
                    yield _Struck(notes, rank, case.seconds(notes[0].onset) + stretch.later)


def foot_time(case: Case, notches: int) -> float:
    """Seconds one foot needs for a move."""
    return (case.player.foot_two_notch_seconds if notches > 1
            else case.player.foot_move_seconds)


def marked_at(case: Case, change: Change) -> Fraction | None:
    """Where the change is marked, between the two notes as they are written."""
    letter, alter = change.new.pitch.step, change.new.pitch.alter
    if change.jump or not case.changes_marked:
        return None
    marks = case.marks.pedals
    between = marks[bisect_right(marks, change.old.onset, key=_onset):
                    bisect_right(marks, change.new.onset, key=_onset)]
    return next((m.onset for m in between if m.alters.get(letter) == alter), None)


def _onset(mark: PedalMark) -> Fraction:
    return mark.onset


def later_beat(case: Case, marked: Fraction, change: Change) -> Fraction | None:
    """Last beat after a mark on which a calm foot, free since then, is in time for the new note."""
    mine = change.new.pitch.step
    marks = case.marks.pedals
    between = marks[bisect_right(marks, marked, key=_onset):
                    bisect_left(marks, change.new.onset, key=_onset)]
    if any(letter != mine and (letter in LEFT_FOOT) == (mine in LEFT_FOOT)
           for m in between for letter in m.alters):
        return None
    bar = case.score.measures[change.new.measure]
    unit = Fraction(4, bar.beat_type)
    beats = (change.new.onset - (change.new.onset - bar.onset) % unit - unit * i
             for i in range(_BEATS_BACK))
    return next((b for b in beats if marked < b < change.new.onset
                 and case.seconds(change.new.onset) - case.seconds(b)
                 >= case.player.foot_sustained_seconds - 1e-6), None)
