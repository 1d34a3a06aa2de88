"""The notes an ornament sign stands for."""

from __future__ import annotations

from fractions import Fraction

import pytest

from arranger.model.pitch import Pitch
from arranger.model.score import Note
from arranger.plan.ornaments import auxiliaries


def of(name: str, *marks: str, onset: int = 1) -> Note:
    return Note("n", "P1", 0, Fraction(onset), Fraction(1), Pitch.parse(name),
                marks=frozenset(marks))


@pytest.mark.parametrize(("marks", "fifths", "wanted"), [
    (("trill",), 0, ["C6"]), (("trill",), 2, ["C#6"]), (("trill", "above-natural"), 2, ["C6"]),
    (("mordent",), 0, ["A5"]), (("mordent", "inverted"), 0, ["C6"]), (("mordent",), -4, ["Ab5"]),
    (("turn",), 3, ["C#6", "A5"]), (("turn", "below-flat"), 3, ["C#6", "Ab5"]), ((), 0, [])])
def test_by_key_and_sign(marks: tuple[str, ...], fifths: int, wanted: list[str]) -> None:
    found = auxiliaries(of("B5", *marks), (), fifths)
    assert [p.name for p in found] == wanted


def test_what_the_line_last_was_in_the_bar_counts() -> None:
    bar = (of("C#6", onset=0), of("C6", onset=2))
    assert [p.name for p in auxiliaries(of("B5", "trill"), bar, 0)] == ["C#6"]
    assert [p.name for p in auxiliaries(of("B5", "trill", onset=3), bar, 0)] == ["C6"]
