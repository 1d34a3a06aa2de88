"""Bars under rehearsal marks and after double bars."""

from __future__ import annotations

from fractions import Fraction

import pytest

from arranger.io.landmarks import double_bars, rehearsal_marks
from arranger.io.musicxml_read import read
from tests.handwritten import attributes, note, part, score

BAR = note("C4", 16)


def barline(style: str, location: str = "right", inside: str = "") -> str:
    return f'<barline location="{location}"><bar-style>{style}</bar-style>{inside}</barline>'


def test_rehearsal_marks_of_any_part() -> None:
    sign = "<direction><direction-type><rehearsal>A</rehearsal></direction-type></direction>"
    root = score(part(attributes() + BAR, sign + BAR, BAR, BAR),
                 part(attributes() + sign + BAR, BAR, BAR, sign + BAR, ident="P2"),
                 names=("Flute", "Harp"))
    assert rehearsal_marks(root, read(root).score) == (Fraction(0), Fraction(4), Fraction(12))


@pytest.mark.parametrize(("second", "found"), [
    (BAR + barline("light-light"), (Fraction(8),)),
    (barline("light-light", "left") + BAR, (Fraction(4),)),
    (BAR + barline("light-heavy", inside='<repeat direction="backward"/>'), ()),
    (BAR + barline("dashed"), ()), (BAR, ())])
def test_double_bars(second: str, found: tuple[Fraction, ...]) -> None:
    root = score(part(attributes() + BAR, second, BAR + barline("light-heavy")))
    assert double_bars(root, read(root).score) == found
