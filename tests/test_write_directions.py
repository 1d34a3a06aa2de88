"""Where words and dynamics stand in a draft: above the harp, or between its staves."""

from __future__ import annotations

import pytest
from lxml import etree

from tests.handwritten import backup, low, note, piano
from tests.writing import written


def direction(inside: str, place: str, staff: int, more: str = "") -> str:
    placed = f' placement="{place}"' if place else ""
    return (f"<direction{placed}><direction-type>{inside}</direction-type>"
            f"<staff>{staff}</staff>{more}</direction>")


def placed(sign: str, place: str, staff: int, more: str = "") -> tuple[str, str]:
    """Staff and side of a sign that stands so in a source, in its draft."""
    root = piano(direction(sign, place, staff, more) + note("C5", 16) + backup(16) + low("C3", 16))
    harp = written(root)
    tag = etree.fromstring(sign).tag
    (found,) = [d for d in harp.iter("direction") if d.find(f"direction-type/{tag}") is not None
                and (tag != "words" or d.findtext("direction-type/words") in sign)]
    return found.findtext("staff"), found.get("placement", "")


BELOW = ["<words>legato</words>", "<words>rit.</words>", "<words>sostenuto</words>",
         "<dynamics><p/></dynamics>", '<wedge type="crescendo"/>', '<dashes type="start"/>']


@pytest.mark.parametrize("sign", BELOW)
@pytest.mark.parametrize("place", ["", "below", "above"])
def test_what_the_left_hand_is_told_stands_between_the_staves(sign: str, place: str) -> None:
    """HARPIST 3: the rows below the lower staff are the pedals'."""
    assert placed(sign, place, 2) == ("2", "above")
    assert placed(sign, place, 1) == ("1", place)


@pytest.mark.parametrize(("sign", "more"), [
    ("<words>Andante con moto.</words>", ""), ("<words>M.M. = 132</words>", '<sound tempo="132"/>'),
    ("<metronome><beat-unit>quarter</beat-unit><per-minute>60</per-minute></metronome>", ""),
    ("<segno/>", ""), ("<words>D.C. al Fine</words>", ""), ("<rehearsal>B</rehearsal>", "")])
@pytest.mark.parametrize("staff", [1, 2])
def test_a_tempo_and_a_way_through_the_form_stand_on_top(sign: str, more: str, staff: int) -> None:
    assert placed(sign, "below", staff, more) == ("1", "above")


def test_a_bracket_of_an_octave_stays_on_its_side() -> None:
    assert placed('<octave-shift type="up" size="8"/>', "below", 2) == ("2", "below")


def test_a_level_beside_a_tempo_stays_between() -> None:
    sign = "<words>Andante</words></direction-type><direction-type><dynamics><p/></dynamics>"
    root = piano(direction(sign, "below", 1) + note("C5", 16) + backup(16) + low("C3", 16))
    (found,) = [d for d in written(root).iter("direction") if d.find("*/dynamics") is not None]
    assert (found.findtext("staff"), found.get("placement")) == ("1", "below")
