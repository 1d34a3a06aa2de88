"""Faults planted into clean stretches of real parts are found in their bar by their rule."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cache
from random import Random

import pytest

from arranger.checks.case import Case
from arranger.passes.inspect import GRAVE, checked, excerpt, inspect
from arranger.passes.part_plan import planned
from arranger.passes.settings import Settings
from tests.checking import FILES, JUDGE, part_of, plan_marks
from tests.plant import OF_MARKS, OTHERS, PLANTERS, Plant, plant

pytestmark = pytest.mark.skipif(not FILES, reason="the harp parts are not here")
BARS = 8
#: Rules whose planted fault need not be an error, and why.
MILDER = {"S2": "one hand plucks for both", "H2": "a roll may help"}


def clean_stretches(files: Sequence[object]) -> tuple[list[Case], list[Case]]:
    """Stretches of eight bars without an error, plain and with the marks of their plan."""
    plain, marked = [], []
    settings = Settings(JUDGE.harp, JUDGE.player, JUDGE.prices)
    for path in files:
        case = part_of(path, Fraction(90))  # type: ignore[arg-type]
        plan = planned(case, inspect(case, {}), settings).plan
        with_marks = replace(case, marks=plan_marks(case, plan), changes_marked=True)
        bars = sorted({n.measure for n in case.notes})
        for at in range(0, len(bars), BARS):
            first, last = bars[at], bars[min(at + BARS, len(bars)) - 1]
            for whole, into in ((case, plain), (with_marks, marked)):
                part = excerpt(whole, first, last)
                if not any(d.severity == "error" for d in checked(part, GRAVE)):
                    into.append(part)
    return plain, marked


@cache
def stretches(quick: bool) -> tuple[list[Case], list[Case]]:
    return clean_stretches(FILES[6:14] if quick else FILES)


def plants(count: int, seed: int, quick: bool) -> list[Plant]:
    random = Random(seed)
    plain, marked = stretches(quick)
    codes = list(PLANTERS)
    made: list[Plant] = []
    while len(made) < count:
        code = codes[len(made) % len(codes)]
        pool = marked if code in OF_MARKS else plain
        done = None
        while done is None:
            case = random.choice(pool)
            if code in OTHERS and random.random() < 0.5:
                other = OTHERS[code](case, random)
                done = None if other is None else Plant(code, other[0], other[1] + 1)
            else:
                done = plant(code, case, random)
        made.append(done)
    return made


def missed(made: Sequence[Plant]) -> list[str]:
    found = []
    for each in made:
        said = [d for d in checked(each.case, GRAVE) if d.code == each.code
                and d.where.bar_index == each.bar]
        if not said:
            found.append(f"{each.code} in bar {each.bar} not found")
        elif each.code not in MILDER and not any(d.severity == "error" for d in said):
            found.append(f"{each.code} in bar {each.bar} is no error")
    return found


def test_clean_stretches_are_clean_and_many() -> None:
    plain, marked = stretches(quick=True)
    assert len(plain) > 10
    assert len(marked) > 10
    assert sum(len(c.marks.pedals) for c in marked) > 20
    for case in (*plain, *marked):
        assert not any(d.severity == "error" for d in checked(case))


def test_planted_faults_are_found() -> None:
    made = plants(160, 1, quick=True)
    wrong = missed(made)
    assert len(wrong) <= len(made) / 100, wrong


@pytest.mark.campaign
def test_two_thousand_planted_faults_are_found() -> None:
    made = plants(2000, 2, quick=False)
    wrong = missed(made)
    print(Counter(p.code for p in made), wrong)
    assert len(wrong) <= len(made) / 100, wrong


def test_every_rule_that_can_be_an_error_is_planted() -> None:
    assert set(GRAVE) <= set(PLANTERS)


@pytest.mark.parametrize("code", PLANTERS)
def test_a_planted_fault_comes_with_a_proved_remedy(code: str) -> None:
    (made,) = [p for p in plants(len(PLANTERS), 3, quick=True) if p.code == code]
    found = [d for d in inspect(made.case, {}).findings if d.code == code]
    assert found
    assert any(d.remedies for d in found)
