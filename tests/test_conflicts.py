"""Smallest conflicting sets of a bar against all subsets, judged in a way of their own."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import combinations, permutations, product

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from arranger.checks import conflicts as module
from arranger.checks.case import Case, open_case
from arranger.checks.conflicts import conflicts
from arranger.model.pitch import Pitch
from arranger.model.score import Measure, Note, Part, Score, TempoMap, TempoMark
from tests.checking import JUDGE, NO_MARKS

PLAYER = JUDGE.player


def part(names: Sequence[tuple[int, str]], bpm: int = 60, bars: int = 1) -> Case:
    """Notes by their sixteenth from the start; bars of four crotchets."""
    measures = tuple(Measure(i, str(i + 1), Fraction(4 * i), Fraction(4)) for i in range(bars))
    notes = tuple(Note(f"n{i}", "P1", at // 16, Fraction(at, 4), Fraction(1, 4), Pitch.parse(name),
                       1 if Pitch.parse(name).midi >= 60 else 2, chord=at)
                  for i, (at, name) in enumerate(names))
    ordered = tuple(sorted(notes, key=lambda n: (n.onset, n.midi)))
    tempo = TempoMap((TempoMark(Fraction(0), Fraction(bpm)),))
    score = Score("", (Part("P1", "Harp", 2),), measures, ordered, tempo, tuple(range(bars)))
    return open_case(score, "P1", JUDGE, NO_MARKS, {}, {})


def told(case: Case, measure: int = 0) -> list[tuple[str, str]]:
    return [(c.kind, " ".join(n.pitch.name for n in c.notes))
            for c in conflicts(case, measure).sets]


@pytest.mark.parametrize(("notes", "bpm", "sets"), [
    ([(0, "C4"), (4, "E4"), (8, "G4")], 60, []),
    ([(0, "F3"), (0, "F#5")], 60, [("pedals", "F3 F#5")]),
    ([(0, "F4"), (1, "F#4")], 90, [("pedals", "F4 F#4")]),
    ([(0, "F4"), (1, "F#4")], 60, []),
    ([(0, "Fb4"), (1, "F#4")], 60, [("pedals", "Fb4 F#4")]),
    ([(0, "G4"), (1, "G4")], 160, [("strings", "G4 G4")]),
    ([(0, "G4"), (1, "G4")], 140, []),
    ([(0, "C1"), (0, "C#1"), (0, "D1")], 60, []),  # strings without discs ask no foot
    # three moves of the right foot in half a second, where two find time
    ([(0, "E4"), (0, "F4"), (0, "G4"), (1, "Eb4"), (1, "F#4"), (1, "G#4")], 30,
     [("pedals", "E4 F4 G4 Eb4 F#4 G#4")]),
    ([(0, "E4"), (0, "F4"), (1, "Eb4"), (1, "F#4")], 30, []),
    ([(0, n) for n in ("C3", "D3", "E3", "F3", "G3", "A3", "B3", "C4", "D4")], 60,
     [("hands", "C3 D3 E3 F3 G3 A3 B3 C4 D4")]),
    ([(0, n) for n in ("C2", "D2", "E2", "F2", "G2", "D6")], 60,
     [("hands", "C2 D2 E2 F2 G2 D6")]),
    ([(0, "C2"), (0, "C4"), (0, "C6")], 60, [("hands", "C2 C4 C6")]),
    ([(0, "C4"), (0, "F#3"), (0, "F5")], 60, [("pedals", "F#3 F5")]),
])
def test_small_bars(notes: list[tuple[int, str]], bpm: int, sets: list[tuple[str, str]]) -> None:
    assert told(part(notes, bpm)) == sets


def test_all_smallest_sets_of_a_chord_too_wide() -> None:
    found = conflicts(part([(0, n) for n in ("C2", "C4", "D4", "C6")]), 0)
    assert found.complete
    assert sorted(" ".join(n.pitch.name for n in c.notes) for c in found.sets) == [
        "C2 C4 C6", "C2 D4 C6"]
    assert {c.message for c in found.sets} == {
        "two hands do not span C2, C4, C6", "two hands do not span C2, D4, C6"}


def test_the_bar_before_counts_and_the_bar_after_does_not() -> None:
    case = part([(15, "F4"), (16, "F#4"), (32, "F4"), (33, "F#4")], 90, bars=3)
    assert told(case, 1) == [("pedals", "F4 F#4")]
    assert told(case, 0) == []


def test_sentences() -> None:
    assert conflicts(part([(0, "F4"), (1, "F#4")], 90), 0).sets[0].message == (
        "F♯4 follows F4 after 0.17 s; the pedal needs 0.25 s")
    crowd = conflicts(part([(0, "E4"), (0, "F4"), (0, "G4"), (1, "Eb4"), (1, "F#4"), (1, "G#4")],
                           30), 0).sets[0].message
    assert crowd.startswith("the right foot has no time for all the moves between")


def test_more_sets_than_are_told() -> None:
    many = [(i, f"F{'#' * (i % 2)}4") for i in range(16)]
    found = conflicts(part(many, 240), 0)
    assert len(found.sets) == module.MOST_SETS
    assert not found.complete


# against all subsets

def fails(case: Case, notes: Sequence[Note]) -> bool:
    """Whether these notes alone cannot be played: gaps and orders told off one by one."""
    seconds = {n.id: float(n.onset) * 60 / float(case.score.tempo.marks[0].bpm) for n in notes}
    for old, new in product(notes, notes):
        if old.pitch == new.pitch and 0 < seconds[new.id] - seconds[old.id] < \
                PLAYER.restrike_error_seconds - 1e-6:
            return True
    asked: dict[bool, list[tuple[float, float, float]]] = {True: [], False: []}
    for letter in "DCBEFGA":
        mine = sorted((n for n in notes if n.pitch.step == letter), key=lambda n: n.onset)
        for old, new in combinations(mine, 2):
            notches = abs(old.pitch.alter - new.pitch.alter)
            if not notches or any(old.onset < m.onset < new.onset for m in mine):
                continue
            need = {1: PLAYER.foot_move_seconds, 2: PLAYER.foot_two_notch_seconds}[notches]
            if seconds[new.id] - seconds[old.id] < need - 1e-6:
                return True
            asked[letter in "DCB"].append((seconds[old.id], seconds[new.id] - need + 1e-6, need))
    return not all(any(goes(order) for order in set(permutations(moves)))
                   for moves in asked.values())


def goes(order: Sequence[tuple[float, float, float]]) -> bool:
    free = 0.0
    for after, before, takes in order:
        start = max(free, after)
        if start >= before:
            return False
        free = start + takes
    return True


@given(st.lists(st.tuples(st.integers(0, 6), st.sampled_from(
    ["E4", "Eb4", "F4", "F#4", "Fb4", "G4", "G#4", "C5", "C#5"])), unique=True, min_size=2,
    max_size=8), st.sampled_from([40, 60, 120, 160]))
@settings(max_examples=300, deadline=None)
def test_feet_and_strings_against_all_subsets(names: list[tuple[int, str]], bpm: int) -> None:
    case = part(names, bpm)
    wrong = [frozenset(s) for size in range(1, len(names) + 1)
             for s in combinations(case.notes, size) if fails(case, s)]
    smallest = {s for s in wrong if not any(other < s for other in wrong)}
    # a note between that spares the foot a move of two notches can make a whole bar go
    assume(all(fails(case, [*s, n]) for s in wrong for n in case.notes if n not in s))
    found = conflicts(case, 0)
    if found.complete:
        assert {frozenset(c.notes) for c in found.sets if c.kind != "hands"} == smallest
    else:
        assert {frozenset(c.notes) for c in found.sets if c.kind != "hands"} <= smallest
