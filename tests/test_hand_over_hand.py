"""A line on one staff is both hands' where the other has nothing; a leap is for the other hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from arranger.checks.case import Case
from arranger.passes.inspect import inspect
from arranger.plan.ceiling import bar_ceilings, demands
from arranger.rulebook.examples import read_example
from tests.checking import as_case

RISING = "D2 | A2 | D3 | F3 | A3 | D4 | F4 | A4 | D5 | F5 | A5 | D6"


def case(left: str, right: str, seconds: float) -> Case:
    table = {"bad": "x", "left": left, "right": right, "seconds": seconds}
    return as_case(read_example(table, Path("row"), "row."))


def held(line: str) -> str:
    """Nothing on the other staff but a rest for each note of a line."""
    return " | ".join("-" for _ in line.split("|"))


def codes(of: Case) -> list[str]:
    return [d.code for d in inspect(of, {}).findings if d.code in ("H6", "H9", "S4")]


@pytest.mark.parametrize("seconds", [0.12, 0.2])
@pytest.mark.parametrize("low", ["D2", "D2 D3"])
def test_an_arpeggio_on_one_staff_goes_over_from_hand_to_hand(seconds: float, low: str) -> None:
    line = f"{RISING} | {low}"
    for left, right in ((line, held(line)), (held(line), line)):
        here = case(left, right, seconds)
        assert codes(here) == []
        asked = demands(here.score, (), here.attacks, here.grips, here.player)
        assert not [c for c in bar_ceilings(here.score, asked) if c.ratio < 1]


def test_a_line_beside_the_other_hands_own_stays_in_its_hand() -> None:
    here = case(RISING, "A6 | G6 | F6 | E6 | A6 | G6 | F6 | E6 | A6 | G6 | F6 | E6", 0.1)
    assert all(n.staff == 2 for g in here.grips for n in g.left)


def test_a_slow_line_stays_on_its_staff() -> None:
    here = case(RISING, held(RISING), 0.5)
    assert not any(g.right for g in here.grips)


def test_a_leap_is_for_the_other_hand() -> None:
    (found,) = [d for d in inspect(case("D2 | D5", "- | -", 0.3), {}).findings if d.code == "H9"]
    assert "give D5 to the right hand" in [r.title for r in found.remedies]
