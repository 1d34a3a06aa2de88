"""A clef after a bar that holds only a voice of the other staff is engraved."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import pytest

from arranger.report.engraver import engraved
from arranger.report.page_score import asked_of, read_written
from arranger.report.part_pages import part_lines
from arranger.report.staff_rests import hold_staves

F_CLEF = '<attributes><clef number="2"><sign>F</sign><line>4</line></clef></attributes>'
HEAD = ("<attributes><divisions>2</divisions><time><beats>{}</beats><beat-type>4</beat-type>"
        '</time><staves>2</staves><clef number="1"><sign>G</sign><line>2</line></clef>'
        '<clef number="2"><sign>G</sign><line>2</line></clef></attributes>')
WORTH = {2: "quarter", 4: "half", 6: "half", 8: "whole"}


def note(name: str, length: int, voice: int, staff: int) -> str:
    dot = "<dot/>" if length == 6 else ""
    return (f"<note><pitch><step>{name[0]}</step><octave>{name[1]}</octave></pitch>"
            f"<duration>{length}</duration><voice>{voice}</voice><type>{WORTH[length]}</type>{dot}"
            f"<staff>{staff}</staff></note>")


def low(name: str, length: int) -> str:
    return f"<backup><duration>{length}</duration></backup>" + note(name, length, 2, 2)


def score(*bars: str, beats: int = 4) -> str:
    music = "".join(f'<measure number="{n}">{HEAD.format(beats) if n == 1 else ""}{bar}</measure>'
                    for n, bar in enumerate(bars, 1))
    return ('<score-partwise><part-list><score-part id="P1"><part-name/></score-part></part-list>'
            f'<part id="P1">{music}</part></score-partwise>')


CROSSING = note("C5", 4, 1, 1) + note("D4", 4, 1, 2)


def f_clefs(drawing: ET.Element) -> int:
    """Count the F clefs of the size of a change."""
    return sum(use.get("href") == "#g-E07C" for use in drawing.iter("use"))


@pytest.mark.parametrize(("beats", "bar"), [
    (4, CROSSING), (3, note("C5", 2, 1, 1) + note("D4", 4, 1, 2)),
    (4, note("C5", 4, 1, 1) + F_CLEF + note("D3", 4, 1, 2))])
def test_the_clef_after_a_bar_of_a_crossing_voice_is_drawn(beats, bar):
    first = note("E5", 2 * beats, 1, 1) + low("E4", 2 * beats)
    own = "" if "<clef" in bar else F_CLEF
    xml = score(first, bar, own + note("C5", 2 * beats, 1, 1) + low("D3", 2 * beats), beats=beats)
    line, = part_lines(xml.encode(), {})[0]
    assert f_clefs(line.drawing) == 1
    drawn, = engraved(asked_of(read_written(xml.encode())))
    assert sum(len(re.findall("<use[^>]*E07C", svg)) for svg in drawn.svgs) == 1


def rests(bar: str, beats: int = 4) -> list[tuple[str, str, str, str]]:
    """Staff, voice, duration and type of what is hidden in a bar."""
    part = ET.fromstring(score(bar, beats=beats)).find("part")
    hold_staves(part)
    return [tuple(n.findtext(name, "") for name in ("staff", "voice", "duration", "type"))
            for n in part.iter("note") if n.get("print-object") == "no"]


def test_a_bar_is_filled_with_written_values_up_to_each_clef():
    assert rests(CROSSING) == [("2", "2", "8", "whole")]
    assert rests(note("C5", 6, 1, 1), 3) == [("2", "2", "4", "half"), ("2", "2", "2", "quarter")]
    assert rests(note("C5", 2, 1, 1) + F_CLEF + note("D3", 6, 1, 2)) == [
        ("2", "2", "2", "quarter"), ("2", "2", "4", "half"), ("2", "2", "2", "quarter")]


def test_staves_with_voices_and_bars_without_notes_stay():
    assert rests(note("C5", 8, 1, 1) + low("C3", 8)) == []
    assert rests("<direction><direction-type><words>tacet</words></direction-type></direction>"
                 ) == []
    assert rests(note("C3", 8, 2, 2)) == [("1", "1", "8", "whole")]


def test_numbers_that_are_none_stop_nothing():
    odd = CROSSING.replace("<duration>4</duration>", "<duration>long</duration>")
    assert rests(odd) == []
