"""Replay of a written lever-harp part: what its player could not do.

Knows only the written MusicXML: staff = hand, spelling = string, words = levers. Codes:

====  ============================================================================
L1    a note whose string does not stand at it
L1b   no opening list, or a letter missing in it; an unreadable lever word
L2    a lever set to what its string cannot be, or to where it stands
L3    the left hand plucks within the time of a move, or too soon after it
L4    two moves at once
L5    a string plucked while its lever is moved
L6    outside the compass
====  ============================================================================

Hands, spans and fingers are left to :mod:`tests.simulator` (its codes B2-B4, B7, B8).
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from dataclasses import dataclass
from itertools import pairwise

from tests.score_reading import Source, read_score
from tests.score_values import STEPS, Mark, Note
from tests.simulator import simulate

SIGNS = {"♭": -1, "♮": 0, "♯": 1}
OPEN = {"Eb": {"B": -1, "E": -1, "A": -1}, "C": {}, "F": {"B": -1}}
HAND = ("B2", "B2b", "B3", "B4", "B7", "B8")
_EPS = 1e-3


@dataclass(frozen=True)
class Rig:
    """The harp and the player: strings from ``lowest`` on, open pitches, seconds of a move."""

    lowest: str = "C2"
    strings: int = 34
    tuning: str = "Eb"
    move: float = 0.5
    lead: float = 0.2


@dataclass(frozen=True)
class Replayed:
    """Findings as (code, bar number, message), moves played, opening by (letter, octave)."""

    found: tuple[tuple[str, str, str], ...]
    moves: int
    written_moves: int
    bars: int

    @property
    def counts(self) -> Counter[str]:
        return Counter(code for code, _, _ in self.found)


def place(name: str) -> int:
    return 7 * int(name[1:]) + STEPS.index(name[0])


class _Player:
    def __init__(self, source: Source, part: str, rig: Rig) -> None:
        self.score, self.rig = read_score(source), rig
        ident = self.score.part_id(part)
        self.notes = [n for n in self.score.notes if n.part == ident]
        self.marks = [m for m in self.score.marks if m.part == ident and m.kind == "words"
                      and m.text.startswith("lever")]
        low = place(rig.lowest)
        self.strings = range(low, low + rig.strings)
        self.open = {p: OPEN[rig.tuning].get(STEPS[p % 7], 0) for p in self.strings}
        self.state: dict[int, int] = {}
        self.found: list[tuple[str, str, str]] = []

    def add(self, code: str, bar: str, message: str) -> None:
        if (code, bar, message) not in self.found:
            self.found.append((code, bar, message))

    def opening(self) -> list[Mark]:
        first = min((n.onset for n in self.notes), default=0)
        heads = [m for m in self.marks if m.text.startswith("levers: ")]
        if len(heads) != 1 or heads[0].onset > first:
            self.add("L1b", "1", f"{len(heads)} opening lists")
            return []
        usual, _, others = heads[0].text.removeprefix("levers: ").partition("; but ")
        letters = dict(re.findall(r"([A-G])([♭♮♯])", usual))
        for letter in set("CDEFGAB") - set(letters):
            self.add("L1b", "1", f"no {letter} in the list")
        for p in self.strings:
            self.set(p, SIGNS[letters.get(STEPS[p % 7], "♮")], "1", True)
        for letter, sign, octave in re.findall(r"([A-G])([♭♮♯])(\d)", others):
            self.set(place(letter + octave), SIGNS[sign], "1", True)
        return [m for m in self.marks if m not in heads]

    def set(self, string: int, alter: int, bar: str, opening: bool = False) -> None:
        name = f"{STEPS[string % 7]}{string // 7}"
        if string not in self.open or alter - self.open[string] not in (0, 1):
            self.add("L2", bar, f"{name} to {alter}")
        elif not opening and self.state.get(string) == alter:
            self.add("L2", bar, f"{name} stands at {alter} already")
        self.state[string] = alter

    def play(self) -> Replayed:
        moves = self.opening()
        for mark in moves:
            if not re.fullmatch(r"lever [A-G][♭♮♯]\d(, [A-G][♭♮♯]\d)*", mark.text):
                self.add("L1b", "", f"unreadable: {mark.text}")
        by_bar: defaultdict[int, list[Mark]] = defaultdict(list)
        notes: defaultdict[int, list[Note]] = defaultdict(list)
        for mark in moves:
            by_bar[self.score.bar_at(mark.onset).index].append(mark)
        for note in self.notes:
            notes[note.bar_index].append(note)
        clock = 0.0
        flips: list[tuple[float, int, str]] = []
        plucks: list[tuple[float, Note]] = []
        for index in self.score.order:
            bar = self.score.bars[index]
            begin = self.score.seconds(bar.onset)
            for onset in sorted({x.onset for x in (*by_bar[index], *notes[index])}):
                at = clock + self.score.seconds(onset) - begin
                for mark in by_bar[index]:
                    if mark.onset != onset:
                        continue
                    for letter, sign, octave in re.findall(r"([A-G])([♭♮♯])(\d)", mark.text):
                        self.set(place(letter + octave), SIGNS[sign], bar.number)
                        flips.append((at, place(letter + octave), bar.number))
                for note in notes[index]:
                    if note.onset == onset:
                        self.pluck(note, bar.number)
                        plucks.append((at, note))
            clock += self.score.seconds(bar.onset + bar.duration) - begin
        self.times(flips, plucks)
        return Replayed(tuple(self.found), len(flips), len(moves), len(self.score.bars))

    def pluck(self, note: Note, bar: str) -> None:
        if note.position not in self.open:
            self.add("L6", bar, note.name)
        elif self.state.get(note.position) != note.alter:
            self.add("L1", bar, f"{note.name}, the string stands at "
                                f"{self.state.get(note.position)}")

    def times(self, flips: list[tuple[float, int, str]],
              plucks: list[tuple[float, Note]]) -> None:
        left = [at for at, note in plucks if note.staff != 1]
        for at, string, bar in flips:
            end = at + self.rig.move
            if any(at + _EPS < t < end + self.rig.lead - _EPS for t in left):
                self.add("L3", bar, f"left hand plucks too soon after {at:.2f} s")
            if any(n.position == string and at - _EPS <= t < end - _EPS for t, n in plucks):
                self.add("L5", bar, f"string plucked within the move at {at:.2f} s")
        for (one, _, _), (two, _, bar) in pairwise(sorted(flips)):
            if two - one < self.rig.move - _EPS:
                self.add("L4", bar, f"two moves within {two - one:.2f} s")


def replay(source: Source, part: str = "Harp", rig: Rig = Rig(), **limits: object) -> Replayed:
    """Play a written part; findings of hands, spans and repeats are added to those of levers."""
    played = _Player(source, part, rig).play()
    highest = place(rig.lowest) + rig.strings - 1
    hands = simulate(source, part, lowest=rig.lowest, fixed=(),
                     highest=f"{STEPS[highest % 7]}{highest // 7}", **limits)
    more = tuple((f.code, f.bar, f.message) for f in hands.findings if f.code in HAND)
    return Replayed(played.found + more, played.moves, played.written_moves, played.bars)
