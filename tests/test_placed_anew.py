"""Octaves, thirds and chords faster than a hand can be placed are told, with a tempo."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from arranger.model.diagnostic import Diagnostic
from arranger.passes.inspect import inspect
from arranger.passes.notice import notices
from arranger.passes.pipeline import arrange
from arranger.passes.settings import Settings
from arranger.plan.ceiling import ceiling, demands
from tests.checking import JUDGE
from tests.handwritten import backup, chord, low, note, piano
from tests.test_hand_over_hand import case
from tests.writing import document_of

SCALE = "DEFGABAG"


def doubled(low: int, high: int) -> str:
    """A scale in octaves."""
    return " | ".join(f"{n}{low} {n}{high}" for n in SCALE)


REST = " | ".join("-" for _ in SCALE)


def told(left: str, right: str, seconds: float) -> list[Diagnostic]:
    return [d for d in inspect(case(left, right, seconds), {}).findings if d.code == "H12"]


@pytest.mark.parametrize(("seconds", "severity"), [
    (0.1, "error"), (0.14, "error"), (0.16, "warning"), (0.2, ""), (0.3, "")])
def test_octaves_in_each_hand(seconds: float, severity: str) -> None:
    found = told(doubled(3, 4), doubled(5, 6), seconds)
    assert [d.severity for d in found] == [severity] * bool(severity)


def test_the_tempo_waits_for_the_hand() -> None:
    here = case(doubled(3, 4), doubled(5, 6), 0.1)
    found = ceiling(here.score, demands(here.score, (), here.attacks, here.grips, here.player))
    assert found.kind == "placing"
    assert found.ratio == pytest.approx(0.1 / here.player.placing_lead_seconds)


def test_a_draft_tells_it_too() -> None:
    rows = [chord(f"{n}{o} {n}{o + 1}", 1, **more) for o, more in (
        (5, {}), (3, {"voice": 5, "staff": 2})) for n in SCALE]
    bar = "".join(rows[:8]) + note("r", 8) + backup(16) + "".join(rows[8:]) + low("r", 8)
    document = document_of(piano(bar))
    settings = Settings(JUDGE.harp, JUDGE.player, JUDGE.prices)
    score = document.score
    score = replace(score, tempo=score.tempo.scaled(Fraction(130)))
    draft = arrange(score, "P1", settings).draft
    (found,) = [d for d in notices(draft, (), settings) if d.code == "H12"]
    assert found.severity == "warning"
    assert "each hand would be placed anew 0.12 s after the last grip" in found.message


def test_thirds_are_set_two_by_two() -> None:
    assert not told("D3 | - | D3 | -", "D5 F5 | E5 G5 | D5 F5 | E5 G5", 0.1)
    (found,) = told("D3 | - | D3 | -", "D5 F5 | E5 G5 | F5 A5 | G5 B5", 0.1)
    assert "F5 A5 after E5 G5" in found.message


def test_octaves_beside_a_hand_that_rests_are_for_both() -> None:
    (found,) = told(REST, doubled(4, 5), 0.12)
    assert [r.title for r in found.remedies] == [
        "give the lower notes of the right hand to the left hand",
        "leave out the lower notes of the right hand"]


def test_the_line_without_its_octaves_is_proved() -> None:
    (found,) = told(doubled(3, 4), doubled(5, 6), 0.1)
    assert [r.title for r in found.remedies] == [
        "leave out the lower notes of the right hand and the upper notes of the left hand"]


def test_one_finger_of_each_hand_is_quick_enough() -> None:
    assert not told(" | ".join(f"{n}4" for n in SCALE), " | ".join(f"{n}5" for n in SCALE), 0.1)
