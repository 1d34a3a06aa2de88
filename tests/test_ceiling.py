"""The fastest tempo of a passage: it plays there and slower, and not a tenth faster."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from arranger.checks.case import Case
from arranger.passes.inspect import checked
from arranger.plan.ceiling import (
    Demands,
    bar_ceilings,
    ceiling,
    demands,
    limiting_passage,
    sentence,
)
from tests.checking import FILES, JUDGE, part_of
from tests.test_conflicts import part

PLAYER = JUDGE.player


def asked(case: Case) -> Demands:
    return demands(case.score, case.uses(), case.attacks, case.grips, PLAYER)


CHANGES = [(0, "F4"), (1, "F#4")]


@pytest.mark.parametrize(("notes", "bpm", "crotchet", "kind"), [
    ([(0, "C4"), (4, "E4")], 60, None, ""),
    (CHANGES, 60, 60, "feet"),  # a sixteenth is 0.25 s at crotchet 60
    (CHANGES, 120, 60, "feet"),
    ([(0, "Fb4"), (1, "F#4")], 60, 40, "feet"),
    ([(0, "F4"), (0, "F#5")], 60, 0, "feet"),
    # two moves of one foot, both over when the notes are plucked
    ([(0, "F4"), (0, "E4"), (1, "F#4"), (1, "Eb4")], 60, 30, "feet"),
    ([(0, "F4"), (0, "D4"), (1, "F#4"), (1, "Db4")], 60, 60, "feet"),  # both feet
    ([(0, "G4"), (1, "G4")], 60, 150, "restrike"),
    ([(0, "C2"), (1, "C5"), (2, "C2"), (3, "C5")], 60, 75, "restrike"),
])
def test_small_passages(notes: list[tuple[int, str]], bpm: int, crotchet: int | None,
                        kind: str) -> None:
    case = part(notes, bpm)
    found = ceiling(case.score, asked(case))
    if kind == "restrike":
        assert found.kind == kind
        assert found.crotchet == min(
            math.floor(15 * (b - a) / PLAYER.restrike_error_seconds + 1e-6)
            for a, b in pairwise([at for at, name in notes if name == notes[0][1]]))
    else:
        assert (found.crotchet, found.kind) == (crotchet, kind)


def test_a_leap_takes_time() -> None:
    low, high = [(0, n) for n in ("C2", "E2", "C7", "E7")], [(4, n) for n in (
        "A4", "C5", "E5", "G5", "C4", "E4", "F4", "B4")]
    case = part([*low, *high], 60)
    found = asked(case)
    assert {w.kind for w in found.waits} <= {"travel", "placing"}
    whole = ceiling(case.score, found)
    worst = max(w.needs / w.have for w in found.waits)
    assert whole.kind == "travel"
    assert whole.bpm == pytest.approx(60 / worst)


def test_bars_and_the_passage_that_limits_the_whole() -> None:
    notes = [(0, "F4"), (4, "F#4"), (16, "F#4"), (17, "F4"), (33, "F4"), (46, "F#4")]
    case = part(notes, 60, bars=3)
    bars = bar_ceilings(case.score, asked(case))
    assert [b.crotchet for b in bars] == [240, 60, 780]
    found = limiting_passage(case.score, asked(case))
    assert (found.first, found.last, found.crotchet) == (1, 1, 60)
    assert sentence(found, case.score) == (
        "bar 2 plays at crotchet 60 at most: the feet need the time")


def test_sentences() -> None:
    fast = part([(0, "F4"), (15, "A4"), (16, "F#4"), (31, "F#4"), (32, "F4"), (33, "F#4")], 120,
                bars=3)
    found = ceiling(fast.score, asked(fast), 1, 2)
    assert sentence(found, fast.score) == (
        "bars 2-3 play at crotchet 60, not 120: the feet need the time")
    never = part([(0, "F4"), (0, "F#5")])
    assert sentence(ceiling(never.score, asked(never)), never.score) == (
        "bar 1 plays at no tempo: a pedal is wanted in two positions at once")
    calm = part([(0, "F4")])
    assert sentence(limiting_passage(calm.score, asked(calm)), calm.score) == (
        "nothing in it sets a limit to the tempo")


# properties, judged by the rules of the check

def too_fast(case: Case) -> bool:
    """Whether the rules of feet and repetition find an error."""
    return any(d.severity == "error" for d in checked(case, ("P1", "P3", "R1")))


names = st.sampled_from(["E4", "Eb4", "F4", "F#4", "Fb4", "G4", "G#4", "C5", "C#5", "D5", "Db5"])


@given(st.lists(st.tuples(st.integers(0, 15), names), unique=True, min_size=2, max_size=9))
@settings(max_examples=200, deadline=None)
def test_at_the_ceiling_it_plays_and_faster_it_does_not(notes: list[tuple[int, str]]) -> None:
    letters = {(at, name[0]): name for at, name in notes}
    case = part([(at, name) for (at, _), name in sorted(letters.items())], 60)
    found = ceiling(case.score, asked(case))
    assume(not math.isinf(found.ratio) and found.kind not in ("travel", "placing"))
    for share, plays in ((1.0 - 1e-6, True), (0.7, True), (0.2, True), (1.1, False)):
        bpm = Fraction(found.bpm * share).limit_denominator(10**9)
        assert too_fast(part([(at, name) for (at, _), name in sorted(letters.items())],
                             bpm)) is not plays  # type: ignore[arg-type]


@given(st.lists(st.tuples(st.integers(0, 47), names), unique=True, min_size=2, max_size=12))
@settings(max_examples=60, deadline=None)
def test_longer_passages_are_no_faster(notes: list[tuple[int, str]]) -> None:
    case = part(sorted(notes), 60, bars=3)
    wants = asked(case)
    bars = bar_ceilings(case.score, wants)
    whole = ceiling(case.score, wants)
    assert whole.ratio <= min(b.ratio for b in bars) * (1 + 1e-6)
    limit = limiting_passage(case.score, wants)
    assert limit.ratio == pytest.approx(whole.ratio, rel=1e-6)
    if limit.first < limit.last and 0 < whole.ratio < math.inf:
        assert ceiling(case.score, wants, limit.first + 1, limit.last).ratio > whole.ratio


@pytest.mark.skipif(not FILES, reason="no data")
@pytest.mark.parametrize("path", FILES[:8], ids=lambda p: p.stem[-40:])
def test_real_parts(path: Path) -> None:
    """Of what the check calls an error, the ceiling of feet and repetition parts slow from fast."""
    case = part_of(path, Fraction(60))
    wants = asked(case)
    hard = Demands(tuple(t for t in wants.turns if t.stop > t.start),
                   tuple(w for w in wants.waits if w.kind == "restrike"))
    ratio = ceiling(case.score, hard).ratio
    counts = [sum(d.severity == "error" for d in checked(
        part_of(path, Fraction(60 * share).limit_denominator(10**9)), ("P1", "P3", "R1")))
        for share in (ratio / 4, ratio * (1 - 1e-6), ratio * 1.03)]
    assert counts[0] == counts[1] < counts[2]
