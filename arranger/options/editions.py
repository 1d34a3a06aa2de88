"""Two editions of one part: which bar is which, and what was changed, note by note.

Bars are laid side by side by the cheapest alignment of two sequences (Needleman and Wunsch, Journal
of Molecular Biology 48, 1970): a bar of one edition alone costs one, a pair as much as its sounding
notes differ. So bars put in or taken out shift no other. In a pair of bars notes are matched by
beat and sounding pitch. (``options.matching`` looks for single notes by their surroundings and
moves all by one number of bars; here every note is matched, once, past any number of such places.)
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeVar

from arranger.model.harp import PEDALS
from arranger.model.marks import LeverMark, PartMarks, PedalMark
from arranger.model.pitch import SIGNS
from arranger.model.score import Location, Note, NoteId, Score

#: Price of a bar that only one edition has.
ALONE = 1000
#: Price of a pair that shares no note: rather a bar written anew than one out and one in.
_UNLIKE = 1900
#: Price of a pair that sounds alike and is written otherwise; decides between equal bars.
_REWRITTEN = 1

T = TypeVar("T")
Pair = tuple[int | None, int | None]


@dataclass(frozen=True, slots=True)
class Edition:
    """A harp part as it is written: its notes, their fingers, its marks."""

    score: Score
    part: str
    fingers: Mapping[NoteId, int]
    marks: PartMarks


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that differs; ``name`` of the note, ``before`` and ``after`` as they are written.

    ``kind``: added, removed, string, hand, finger, length, signs, pedals or levers. ``old`` and
    ``new`` are the places in the two editions, None where it does not stand there.
    """

    kind: str
    old: Location | None
    new: Location | None
    name: str = ""
    before: str = ""
    after: str = ""


@dataclass(frozen=True, slots=True)
class _Written:
    """A note in its bar; ``beat`` in quarter notes from the barline."""

    beat: Fraction
    note: Note
    finger: int | None

    @property
    def sound(self) -> tuple[Fraction, int, bool]:
        return self.beat, self.note.midi, self.note.grace

    @property
    def details(self) -> dict[str, str]:
        """What is written of it besides its sound, by kind of change."""
        note = self.note
        return {"string": note.pitch.name, "hand": "right" if note.staff == 1 else "left",
                "finger": str(self.finger or ""), "length": str(note.duration),
                "signs": " ".join(sorted(note.marks))}


@dataclass(frozen=True, slots=True)
class _Bar:
    """A bar made ready for the alignment: as written, and its sounds, equal ones numbered."""

    written: tuple[object, ...]
    sounds: frozenset[tuple[object, int]]

    @classmethod
    def of(cls, notes: Sequence[_Written]) -> _Bar:
        sounds = Counter(w.sound for w in notes)
        return cls(tuple((w.sound, tuple(w.details.values())) for w in notes),
                   frozenset((s, i) for s, n in sounds.items() for i in range(n)))


@dataclass(frozen=True, slots=True)
class _Sign:
    """A pedal or lever mark in its bar."""

    beat: Fraction
    words: str
    where: Location


def aligned(old: Edition, new: Edition) -> tuple[Pair, ...]:
    """Return the bars side by side, by index from 0; None where an edition lacks the bar."""
    one, two = ([_Bar.of(bar) for bar in _bars(e)] for e in (old, new))
    first = 0
    while first < min(len(one), len(two)) and not _price(one[first], two[first]):
        first += 1
    last = 0
    while (last < min(len(one), len(two)) - first
           and not _price(one[-1 - last], two[-1 - last])):
        last += 1
    pairs: list[Pair] = [(i, i) for i in range(first)]
    middle = _cheapest(one[first:len(one) - last], two[first:len(two) - last])
    pairs += [(None if a is None else a + first, None if b is None else b + first)
              for a, b in middle]
    pairs += [(len(one) - i, len(two) - i) for i in range(last, 0, -1)]
    return tuple(pairs)


def changes(old: Edition, new: Edition, pairs: Iterable[Pair]) -> tuple[Change, ...]:
    """Return what differs in the bars both editions have, in order of the newer one."""
    one, two = _bars(old), _bars(new)
    found: list[Change] = []
    for a, b in pairs:
        if a is not None and b is not None:
            here = [*_of_notes(old.score, new.score, one[a], two[b]),
                    *_of_signs("pedals", _pedals(old, a), _pedals(new, b)),
                    *_of_signs("levers", _levers(old, a), _levers(new, b))]
            found += sorted(here, key=_beat)
    return tuple(found)


def paired(old: Iterable[T], new: Iterable[T], key: Callable[[T], Hashable],
           ) -> tuple[list[tuple[T, T]], list[T], list[T]]:
    """Match by an equal key, in order where several have it; return also what is left of each."""
    waiting: dict[Hashable, deque[T]] = {}
    for item in new:
        waiting.setdefault(key(item), deque()).append(item)
    pairs: list[tuple[T, T]] = []
    alone: list[T] = []
    for item in old:
        if same := waiting.get(key(item)):
            pairs.append((item, same.popleft()))
        else:
            alone.append(item)
    return pairs, alone, [item for left in waiting.values() for item in left]


def _bars(edition: Edition) -> list[list[_Written]]:
    bars: list[list[_Written]] = [[] for _ in edition.score.measures]
    for note in edition.score.part_notes(edition.part):
        beat = note.onset - edition.score.measures[note.measure].onset
        bars[note.measure].append(_Written(beat, note, edition.fingers.get(note.id)))
    return bars


def _price(one: _Bar, two: _Bar) -> int:
    """How unlike two bars are: 0 if written alike."""
    if one.written == two.written:
        return 0
    both = len(one.written) + len(two.written)
    shared = len(one.sounds & two.sounds)
    return _REWRITTEN + _UNLIKE * (both - 2 * shared) // both


def _cheapest(one: Sequence[_Bar], two: Sequence[_Bar]) -> list[Pair]:
    """Align two runs of bars; of equal prices a pair wins, then a bar taken out."""
    total = [[ALONE * (i + j) if not i or not j else 0 for j in range(len(two) + 1)]
             for i in range(len(one) + 1)]
    prices = [[_price(a, b) for b in two] for a in one]
    for i, row in enumerate(prices, 1):
        for j, price in enumerate(row, 1):
            total[i][j] = min(total[i - 1][j - 1] + price, total[i - 1][j] + ALONE,
                              total[i][j - 1] + ALONE)
    pairs: list[Pair] = []
    i, j = len(one), len(two)
    while i or j:
        if i and j and total[i][j] == total[i - 1][j - 1] + prices[i - 1][j - 1]:
            i, j = i - 1, j - 1
            pairs.append((i, j))
        elif i and total[i][j] == total[i - 1][j] + ALONE:
            i -= 1
            pairs.append((i, None))
        else:
            j -= 1
            pairs.append((None, j))
    return pairs[::-1]


def _of_notes(old: Score, new: Score, one: Sequence[_Written],
              two: Sequence[_Written]) -> Iterator[Change]:
    def place(written: _Written, score: Score) -> Location:
        return score.locate(written.note.onset, written.note.measure)
    pairs, gone, come = paired(one, two, lambda w: w.sound)
    for was, now in pairs:
        there = now.details
        yield from (Change(kind, place(was, old), place(now, new), now.note.pitch.name, told,
                           there[kind])
                    for kind, told in was.details.items() if told != there[kind])
    yield from (Change("removed", place(w, old), None, w.note.pitch.name) for w in gone)
    yield from (Change("added", None, place(w, new), w.note.pitch.name) for w in come)


def _of_signs(kind: str, one: Sequence[_Sign], two: Sequence[_Sign]) -> Iterator[Change]:
    """Marks of one bar: the same ones are matched first, then those at the same beat."""
    _, gone, come = paired(one, two, lambda s: (s.beat, s.words))
    pairs, gone, come = paired(gone, come, lambda s: s.beat)
    for was, now in pairs:
        yield Change(kind, was.where, now.where, "", was.words, now.words)
    yield from (Change(kind, s.where, None, "", s.words) for s in gone)
    yield from (Change(kind, None, s.where, "", "", s.words) for s in come)


def _pedals(edition: Edition, bar: int) -> list[_Sign]:
    return _signs(edition, [(m, _pedal_words(m)) for m in edition.marks.pedals
                            if m.measure == bar])


def _levers(edition: Edition, bar: int) -> list[_Sign]:
    return _signs(edition, [
        (m, " ".join(f"{s.step}{SIGNS[s.alter]}{'' if s.octave is None else s.octave}"
                     for s in m.signs))
        for m in edition.marks.levers if m.measure == bar])


def _signs(edition: Edition, marks: Sequence[tuple[PedalMark | LeverMark, str]]) -> list[_Sign]:
    score = edition.score
    return [_Sign(m.onset - score.measures[m.measure].onset, words,
                  score.locate(m.onset, m.measure)) for m, words in marks]


def _pedal_words(mark: PedalMark) -> str:
    return " ".join(f"{p}{SIGNS[mark.alters[p]]}" for p in PEDALS if p in mark.alters)


def _beat(change: Change) -> Fraction:
    where = change.new or change.old
    return where.beat if where else Fraction(0)
