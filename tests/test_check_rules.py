"""Every rule has a check or a judge of drafts, and its examples are true of it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from arranger.checks.case import with_notes
from arranger.model.pitch import Pitch
from arranger.passes.inspect import CHECKS, checked, inspect
from arranger.rulebook.examples import Example, read_example
from arranger.rulebook.rules import Rule, rulebook
from tests.checking import as_case

#: Rules about what an arranger gave up: a part as it stands cannot break them; and those of lever
#: harps (test_lever_harps, test_lever_marks).
OF_DRAFTS = ("T1", "T2", "T3", "T4", "T5", "K1", "K2", "K3", "K4", "K5", "K6")
#: Bad examples that are no fault of a part, with the code the check names instead, and why.
ELSEWHERE = {
    ("P1", "the left hand still needs F natural at that moment"): ("S1", "told as a clash"),
    ("H1", "five notes in the right hand"): ("", "the left hand helps"),
    ("H2", "a twelfth in the left hand"): ("", "the right hand helps"),
    ("H3", "C2 in the right hand"): ("", "the left hand takes it"),
    ("H3", "the top of the harp in the left hand"): ("", "the right hand takes it"),
    ("H5", "two octaves in one hand, even rolled"): ("", "the right hand helps"),
    ("H6", "eight quick notes upwards in the right hand"): ("", "shared between the hands"),
    ("R2", "F1 sounds on under a chord of G"): ("", "F belongs to the seventh of G; only a bass a "
                                                    "semitone from the new chord is told"),
    ("N1", "a double flat"): ("N4", "told as a double accidental"),
}
CASES = [pytest.param(r, e, id=f"{r.code}-{e.says}") for r in rulebook().values()
         for e in r.examples if r.code in CHECKS]


def test_every_rule_has_a_check_and_every_check_a_rule() -> None:
    assert set(rulebook()) - set(CHECKS) == set(OF_DRAFTS)
    assert set(CHECKS) <= set(rulebook())
    assert len(rulebook()) >= 45


@pytest.mark.parametrize(("rule", "example"), CASES)
def test_example(rule: Rule, example: Example) -> None:
    found = {d.code for d in checked(as_case(example))}
    if (rule.code, example.says) in ELSEWHERE:
        instead, _ = ELSEWHERE[rule.code, example.says]
        assert not example.good
        assert rule.code not in found
        assert instead in found or not instead
    else:
        assert (rule.code in found) is not example.good


def test_the_table_names_examples_that_exist() -> None:
    known = {(r.code, e.says) for r in rulebook().values() for e in r.examples}
    assert set(ELSEWHERE) <= known


@pytest.mark.parametrize(("rule", "example"), CASES)
def test_sentences_are_for_composers(rule: Rule, example: Example) -> None:
    for finding in checked(as_case(example)):
        words = finding.message.replace(",", " ").replace(";", " ").split()
        assert len(finding.message) < 200
        assert not set(words) & (set(rulebook()) - {"C1", "C2", "C3"})
        assert not finding.message.endswith(".")
        assert finding.where.bar == "1"


def test_a_part_without_notes_says_nothing() -> None:
    case = as_case(next(e for r in rulebook().values() for e in r.examples))
    assert checked(with_notes(case, ())) == []


@pytest.mark.parametrize(("grace", "code"), [("C#5", "P1"), ("C9", "C1"), ("Db5", ""), ("B4", "")])
def test_grace_notes_need_pedals_and_strings_too(grace: str, code: str) -> None:
    table = {"bad": "x", "right": "C5 | E5", "seconds": 1.0}
    case = as_case(read_example(table, Path("row"), "row."))
    leaning = replace(case.notes[0], id="g", pitch=Pitch.parse(grace), grace=True,
                      duration=Fraction(0))
    found = [d for d in inspect(with_notes(case, (*case.notes, leaning)), {}).findings
             if d.severity != "advice"]
    assert [d.code for d in found] == ([code] if code else [])
    assert all(d.remedies for d in found)
