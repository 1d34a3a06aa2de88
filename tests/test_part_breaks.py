"""The lines of the print: no bar is left over on a last line where the others can take it in."""

from __future__ import annotations

import pytest

from arranger.report.engraver import EngravingError
from arranger.report.part_breaks import bar_widths, best_breaks, heads
from arranger.report.part_pages import best_pages, part_lines

NOTE = ("<note><pitch><step>{}</step><octave>4</octave></pitch><duration>1</duration>"
        "<type>quarter</type></note>")


def part(bars: int) -> bytes:
    music = "".join(f'<measure number="{n}">' + (
        "<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
        "</attributes>" if n == 1 else "") + "".join(map(NOTE.format, "CEGE")) + "</measure>"
        for n in range(1, bars + 1))
    return ('<score-partwise version="4.0"><part-list><score-part id="P"><part-name/></score-part>'
            f'</part-list><part id="P">{music}</part></score-partwise>').encode()


@pytest.mark.parametrize("bars", [8, 9, 15, 16, 17])
def test_the_last_line_is_not_left_with_a_bar_or_two(bars):
    try:
        ways = part_lines(part(bars), {})
    except EngravingError as error:
        pytest.skip(str(error))
    assert len(bar_widths(ways[0][-1].drawing)) <= 3  # as the engraver fills line after line
    (page,), scale = best_pages(ways, {}, 2430, 2580)
    assert scale == 1
    counts = [len(bar_widths(line.drawing)) for line in page]
    assert sum(counts) == bars
    assert counts[-1] >= 3
    assert len(counts) <= len(ways[0])


@pytest.mark.parametrize(("count", "breaks"), [(4, ()), (5, (3,)), (6, (3,)), (9, (3, 6))])
def test_bars_of_one_width_are_shared_evenly(count, breaks):
    assert best_breaks([100.0] * count, {}, 410) == breaks
    # only the end anew: the line before begins with bar 10
    assert best_breaks([100.0] * (count + 10), {}, 410, 10) == tuple(b + 10 for b in breaks)


def test_a_bar_wider_than_a_line_has_its_own():
    assert best_breaks([100.0, 900.0, 100.0, 100.0], {}, 300) == (1, 2)
    assert best_breaks([], {}, 300) == ()


def test_what_clef_and_signature_take():
    assert heads([50, 40, 60, 40, 40], [[60, 40], [95, 40, 40]]) == {2: pytest.approx(35)}
