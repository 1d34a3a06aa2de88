"""The left hand among its levers: exact against every way to place flips, and the tempo told."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from itertools import product
from random import Random

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from arranger.api import Request, check
from arranger.checks.case import Case, with_notes
from arranger.passes.inspect import checked
from arranger.plan.ceiling import ceiling, demands, sentence
from arranger.plan.lever_hand import Flip, LeverWork, Start, can_flip, lever_stretch, lever_work
from arranger.rulebook.harps import load_harp
from tests.test_conflicts import part
from tests.test_lever_marks import file, lever_part


def every_way(work: LeverWork, stretch: float) -> bool:
    """Try every start for every flip."""
    usable = [s.seconds * stretch for s in work.starts
              if s.wait * stretch >= work.takes + work.lead and s.gap * stretch >= 2 * work.takes]
    rows = [[t for t in usable if f.after * stretch < t and t + work.takes <= f.before * stretch]
            for f in work.flips]
    return any(all(abs(a - b) >= work.takes for k, a in enumerate(some) for b in some[:k])
               for some in product(*rows))


@pytest.mark.parametrize("seed", range(300))
def test_equal_to_every_way_to_place_the_flips(seed):
    random = Random(seed)
    starts = sorted(random.sample(range(40), random.randint(2, 9)))
    flips = []
    for _ in range(random.randint(1, 4)):
        after, before = sorted(random.sample(range(44), 2))
        flips.append(Flip(after, before, 0))
    work = LeverWork(tuple(flips), tuple(
        Start(t, random.choice((3, 8, math.inf)), random.choice((5, math.inf, math.inf)))
        for t in starts), random.choice((2, 4, 7)), random.choice((0, 1)))
    for stretch in (0.5, 1.0, 2.0):
        assert can_flip(work, stretch) is every_way(work, stretch)
    found = lever_stretch(work)
    if math.isinf(found):
        assert not every_way(work, 60.0)
    else:
        assert every_way(work, found * (1 + 1e-6))
        assert not every_way(work, found * (1 - 1e-6))


def on_levers(case: Case) -> Case:
    """The case on a lever harp."""
    judge = replace(case.judge, harp=load_harp("lever-34"))
    return with_notes(replace(case, judge=judge), (*case.notes, *case.graces))


names = st.sampled_from(["F6", "F#6", "G6", "G#6", "F6", "F#6"])
lows = st.sampled_from(["C2", "E2", "F2", "F#2"])


@given(st.lists(st.tuples(st.integers(0, 15), names), unique_by=lambda n: n[0], min_size=2,
                max_size=8),
       st.lists(st.tuples(st.integers(0, 15), lows), unique_by=lambda n: n[0], max_size=3))
@settings(max_examples=80, deadline=None)
def test_at_the_tempo_told_the_levers_go_and_faster_they_do_not(high, low):
    """The top is out of the left hand's reach, the bottom out of the right hand's."""
    notes = sorted((*high, *low))
    case = on_levers(part(notes, 60))
    asked = replace(demands(case.score, [], case.attacks, case.grips, case.player), waits=(),
                    levers=lever_work(case.score, case.attacks, case.grips, case.player))
    found = ceiling(case.score, asked)
    assume(not math.isinf(found.ratio))
    shares = ((1.0 - 1e-6, True), (0.7, True), (0.2, True), (1.1, False))
    if found.ratio == 0:
        shares = ((0.05, False), (1.0, False))
        found = replace(found, bpm=60.0)
    for share, plays in shares:
        again = on_levers(part(notes, Fraction(  # type: ignore[arg-type]
            found.bpm * share).limit_denominator(10**9)))
        assert (checked(again, ("K1",)) == []) is plays


def test_a_check_tells_the_tempo(tmp_path):
    root = lever_part("F4 | G4 | F#4", "A2 | - | A2", tempo=300)
    result = check(Request(file(tmp_path, root), harp="lever-34", page=False))
    # begun on the second crotchet, half a second for the flip and 0.2 to be back for the pluck
    assert result.report["tempo_limits"]["told"][0] == (
        "bar 1 plays at crotchet 128, not 300: the left hand needs the time to move a lever")
    assert result.report["tempo_limits"]["bars"][0]["limit"] == "levers"


def test_no_moment_between_two_quick_notes():
    case = on_levers(part([(0, "F6"), (0, "F2"), (0, "F#6"), (4, "F2")], 60))
    work = LeverWork((Flip(0.0, 0.25, 0),), (Start(0.0, 1.0, math.inf),), 0.5, 0.2)
    found = ceiling(case.score, replace(demands(case.score, [], (), (), case.player), levers=work))
    assert sentence(found, case.score) == ("bar 1 plays at no tempo: a lever is to move between "
                                           "notes that leave no moment for it")
