"""Recognise textures: figures a harpist plays in another way than a pianist.

Pure functions over the notes of a draft. Each staff is looked at by itself, save for lines in
parallel. What is found is only a reason to look: a texture that is playable stays as written.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from arranger.model.draft import Draft, HarpNote
from arranger.model.score import NoteId
from arranger.plan.slices import Slice, slices

Numbers = Mapping[str, int]
#: Whether the attack at the second index continues the figure that began at the first.
Goes = Callable[[int, int], bool]


@dataclass(frozen=True, slots=True)
class Texture:
    """A figure: its ``kind``, staff (0: both) and attacks, each with its notes lowest first.

    Kinds: repeated note, repeated chord, tremolo, trill, tremolo sign, trill sign, octaves,
    alberti, broken chord, arpeggio, parallel lines, bass and chords, held note, chromatic run.
    """

    kind: str
    staff: int
    attacks: tuple[tuple[HarpNote, ...], ...]

    @property
    def notes(self) -> tuple[HarpNote, ...]:
        """All notes of the figure, in order."""
        return tuple(n for attack in self.attacks for n in attack)

    @property
    def ids(self) -> frozenset[NoteId]:
        """Ids of the notes of the figure."""
        return frozenset(n.id for n in self.notes)

    @property
    def start(self) -> Fraction:
        """Onset of the first attack, in quarter notes."""
        return self.attacks[0][0].onset

    @property
    def last(self) -> Fraction:
        """Onset of the last attack, in quarter notes."""
        return self.attacks[-1][0].onset


def textures(draft: Draft, numbers: Numbers, span_steps: int) -> tuple[Texture, ...]:
    """All textures of a draft in order of onset; they may overlap.

    ``span_steps``: string steps one hand spans, over which an arpeggio is longer than a hand.
    """
    played = [n for n in draft.notes if not n.source.grace]
    found: list[Texture] = []
    staves = sorted({n.source.staff for n in played})
    rows = {staff: slices([n for n in played if n.source.staff == staff], draft.source.tempo)
            for staff in staves}
    for staff, row in rows.items():
        for kind, first, last in _of_staff(row, numbers, span_steps):
            found.append(Texture(kind, staff, tuple(s.notes for s in row[first:last + 1])))
        found += _held(staff, row, numbers)
        found += [Texture(f"{mark} sign", staff, (tuple(signed),)) for s in row
                  for mark in ("tremolo", "trill")
                  if (signed := [n for n in s.notes if mark in n.source.marks])]
    if 1 in rows and 2 in rows:
        found += _parallel(rows[1], rows[2], numbers)
    return tuple(sorted(found, key=lambda t: (t.start, t.staff, t.kind)))


def _of_staff(row: Sequence[Slice], numbers: Numbers,
              span_steps: int) -> Iterator[tuple[str, int, int]]:
    sets = [tuple(n.pitch.midi for n in s.notes) for s in row]
    single = [len(s) == 1 for s in sets]

    def near(at: int, limit: str) -> bool:
        return row[at].seconds - row[at - 1].seconds <= numbers[limit] / 1000 + 1e-6

    def way(at: int) -> int:
        return sets[at][0] - sets[at - 1][0] if single[at] and single[at - 1] else 0

    def one_way(first: int, at: int) -> bool:
        return way(at) * way(first + 1) > 0

    def run(least: str, goes: Goes) -> list[tuple[int, int]]:
        return _runs(len(row), numbers[least], goes)

    for first, last in run("repeat_attacks",
                           lambda _, i: sets[i] == sets[i - 1] and near(i, "repeat_gap")):
        yield ("repeated note" if single[first] else "repeated chord"), first, last
    for first, last in run("alternation_attacks", lambda f, i: sets[i] != sets[i - 1] and (
            i - f < 2 or sets[i] == sets[i - 2]) and near(i, "alternation_gap")):
        yield ("trill" if 0 < abs(way(first + 1)) <= 2 else "tremolo"), first, last
    for first, last in run("run_notes", lambda f, i: (abs(way(i)) == 1 and one_way(f, i)
                                                      and near(i, "run_gap"))):
        yield "chromatic run", first, last
    for first, last in run("run_notes", lambda f, i: (abs(way(i)) >= 3 and one_way(f, i)
                                                      and near(i, "figure_gap"))):
        if abs(_place(row[last]) - _place(row[first])) > span_steps:
            yield "arpeggio", first, last
    albertis = _albertis(sets, lambda i: near(i, "figure_gap"))
    yield from (("alberti", first, last) for first, last in albertis)
    for first, last in run("figure_notes", lambda _, i: abs(way(i)) >= 3
                           and near(i, "figure_gap")):
        if _turns([s[0] for s in sets[first:last + 1]]) and not any(
                a <= last and first <= b for a, b in albertis):
            yield "broken chord", first, last
    for first, last in run("doubling_attacks", lambda f, i: _octave(sets[f]) and _octave(sets[i])
                           and sets[i] != sets[i - 1] and near(i, "figure_gap")):
        yield "octaves", first, last
    for first, last in run("repeat_attacks", lambda _, i: (
            _leaps(row[i - 1], row[i], numbers["leap_steps"]) and near(i, "figure_gap"))):
        if any(len(s) > 1 for s in sets[first:last + 1]):
            yield "bass and chords", first, last


def _runs(count: int, least: int, goes: Goes) -> list[tuple[int, int]]:
    """Maximal ranges (first, last) of at least ``least`` attacks that go on; they may touch."""
    found: list[tuple[int, int]] = []
    first = 0
    for at in range(1, count + 1):
        if at < count and goes(first, at):
            continue
        if at - first >= least:
            found.append((first, at - 1))
        first = at - 1 if at < count and goes(at - 1, at) else at
    return found


def _place(here: Slice) -> int:
    return here.notes[0].string.position


def _octave(midis: Sequence[int]) -> bool:
    return len(midis) >= 2 and midis[-1] - midis[0] == 12


def _leaps(one: Slice, other: Slice, least: int) -> bool:
    """Tell whether bass and chord lie so far apart, in either order."""
    low, high = sorted((one, other), key=_place)
    return (_place(high) - low.notes[-1].string.position >= least and len(low.notes) <= 2
            and (len(high.notes) >= 2 or _octave([n.pitch.midi for n in low.notes])))


def _albertis(sets: Sequence[Sequence[int]],
              near: Callable[[int], bool]) -> list[tuple[int, int]]:
    """Ranges of at least two groups low, high, middle, high."""
    def group(at: int) -> bool:
        four = sets[at:at + 4]
        if len(four) < 4 or any(len(s) != 1 for s in four):
            return False
        (low,), (high,), (middle,), (again,) = four
        return low < middle < high == again and all(near(i) for i in range(at + 1, at + 4))

    found: list[tuple[int, int]] = []
    at = 0
    while at < len(sets):
        end = at
        while group(end) and (end == at or near(end)):
            end += 4
        if end - at >= 8:
            found.append((at, end - 1))
        at = end if end - at >= 8 else at + 1
    return found


def _turns(line: Sequence[int]) -> bool:
    """Tell whether a line of chord notes turns and is more than a to and fro."""
    return len({b > a for a, b in pairwise(line)}) > 1 and len(set(line)) > 2


def _held(staff: int, row: Sequence[Slice], numbers: Numbers) -> Iterator[Texture]:
    """Long notes with moving parts in the same staff."""
    for at, here in enumerate(row):
        for note in here.notes:
            if note.source.duration < numbers["held_quarters"]:
                continue
            over = [s for s in row[at + 1:at + 200] if s.onset < note.source.end]
            if len(over) >= numbers["held_attacks"]:
                yield Texture("held note", staff, ((note,),))


def _parallel(upper: Sequence[Slice], lower: Sequence[Slice],
              numbers: Numbers) -> Iterator[Texture]:
    """Both hands with one note each, moving in thirds or sixths (or tenths)."""
    below = {s.onset: s.notes for s in lower}
    both = [(s.notes[0], below[s.onset][0], s.seconds) for s in upper
            if len(s.notes) == 1 and len(below.get(s.onset, ())) == 1]
    places = {s.onset: i for i, s in enumerate(upper)}
    steps = [a.string.position - b.string.position for a, b, _ in both]

    def goes(first: int, at: int) -> bool:
        return (steps[first] % 7 in (2, 5) and steps[at] == steps[first]
                and places[both[at][0].onset] == places[both[at - 1][0].onset] + 1
                and both[at][0].pitch != both[at - 1][0].pitch
                and both[at][2] - both[at - 1][2] <= numbers["figure_gap"] / 1000 + 1e-6)

    for first, last in _runs(len(both), numbers["parallel_attacks"], goes):
        yield Texture("parallel lines", 0, tuple((b, a) for a, b, _ in both[first:last + 1]))
