"""Every remedy, applied to the whole part, takes its finding away and adds no error."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from arranger.checks.case import Case
from arranger.model.diagnostic import Diagnostic
from arranger.passes.edit_part import edited
from arranger.passes.inspect import checked, inspect
from arranger.rulebook.rules import rule
from tests.checking import FILES, as_case, part_of

pytestmark = pytest.mark.skipif(not FILES, reason="the harp parts are not here")
QUICK = ("r-691", "n26881--009", "n26881--003", "n26880--008")


def errors(found: Iterable[Diagnostic]) -> Counter[tuple[str, str]]:
    return Counter((d.code, d.where.bar) for d in found if d.severity == "error")


def broken_remedies(case: Case) -> list[str]:
    before = errors(checked(case))
    wrong = []
    for finding in inspect(case, {}).findings:
        for remedy in finding.remedies:
            after = checked(edited(case, remedy.edits))
            still = [d for d in after if d.code == finding.code
                     and d.where.bar == finding.where.bar and set(d.notes) & set(finding.notes)]
            more = errors(after) - before
            if still or more:
                wrong.append(f"{finding.code} {finding.where} {remedy.title}: {still} {more}")
    return wrong


@pytest.mark.parametrize("piece", QUICK)
def test_remedies_of_a_part(piece: str) -> None:
    (path,) = [p for p in FILES if piece in p.name]
    assert broken_remedies(part_of(path)) == []


@pytest.mark.campaign
@pytest.mark.parametrize("bpm", [None, Fraction(120)])
@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem[-40:])
def test_remedies_of_every_part(path: Path, bpm: Fraction | None) -> None:
    assert broken_remedies(part_of(path, bpm)) == []


def test_remedies_are_ranked_by_fidelity_and_then_cost() -> None:
    (path,) = [p for p in FILES if "n26881--009" in p.name]
    (clash,) = [d for d in inspect(part_of(path), {}).findings if d.severity == "error"]
    assert [r.fidelity for r in clash.remedies] == ["same-sound", "other-sound", "other-sound"]
    assert clash.remedies[0].title == "write A♭3 for G♯3"
    assert "again in bars 55, 56" in clash.message
    assert len(clash.remedies[0].edits) == 3


def test_a_false_remedy_would_be_thrown_out() -> None:
    (path,) = [p for p in FILES if "n26881--009" in p.name]
    case = part_of(path)
    (clash,) = [d for d in inspect(case, {}).findings if d.severity == "error"]
    wrong = replace(clash.remedies[0], edits=())
    assert any(d.code == "S1" for d in checked(edited(case, wrong.edits)))


def test_a_string_that_changes_hands_too_soon_may_stay_in_its_hand() -> None:
    """The same sound comes before any loss."""
    (example,) = [e for e in rule("S4").examples if not e.good]
    (found,) = [d for d in inspect(as_case(example), {}).findings if d.code == "S4"]
    assert [(r.title, r.fidelity) for r in found.remedies] == [
        ("let the right hand keep the string", "same-sound"),
        ("leave out the second of each pair", "other-sound")]
