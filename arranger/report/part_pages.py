"""The harp part for the stand: its lines of music, and which of them share a page."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Any
from xml.etree import ElementTree as ET

from arranger.report.engraver import as_text, clean, draw_settings, engraved, hold_settings
from arranger.report.page_time import bars_of, tempo_of
from arranger.report.part_alone import part_alone

#: Verovio's unit of a tenth of a millimetre: 18 cm of music, staves 7 mm high as in printed parts.
_OPTIONS = {
    "pageWidth": 1800, "pageHeight": 100, "adjustPageHeight": True, "unit": 8.75,
    "pageMarginLeft": 0, "pageMarginRight": 0, "pageMarginTop": 0, "pageMarginBottom": 0,
    "header": "none", "footer": "none", "breaks": "auto", "minLastJustification": 0.6,
    "spacingStaff": 9, "spacingNonLinear": 0.55,
}
#: Seconds a hand needs to turn a page (assumption).
TURN = 2.0
# Prices (assumptions): a page; a page left empty; a turn for which no hand is free.
_PAGE, _EMPTY, _HURRY = 15, 100, 30
GAP = 25  # least room between two lines of music, in tenths of a millimetre


@dataclass(frozen=True, slots=True)
class Line:
    """A line of music (both staves over the page's width); ``first`` is its first bar from 1.

    ``height`` in tenths of a millimetre; ``drawing`` in verovio's hundredths.
    """

    drawing: ET.Element
    height: float
    first: int


def part_lines(draft_xml: bytes, glyphs: dict[str, ET.Element]) -> tuple[Line, ...]:
    """Engrave the harp part alone, line by line.

    Raises
    ------
    EngravingError
        Verovio is not installed or refuses the score.
    """
    root = ET.fromstring(draft_xml)
    part = part_alone(root)
    settings = hold_settings(part)
    lines, first = [], 1
    drawn, = engraved((as_text(root), _OPTIONS))
    for page in drawn.pages():  # so low that each holds one line
        drawing = clean(page, glyphs)
        draw_settings(drawing, settings)
        height = float(drawing.get("viewBox", "0 0 0 0").split()[3])
        lines.append(Line(drawing, height, first))
        first += sum(g.get("class") == "measure" for g in drawing.iter("g"))
    return tuple(lines)


def free_hands(report: Mapping[str, Any]) -> dict[int, float]:
    """Seconds for which a hand is free round the beginning of each bar (index from 1)."""
    bars = bars_of(report)
    if not bars or "tempo" not in report:
        return {}
    tempo = tempo_of(report)
    onsets: dict[str, list[Fraction]] = defaultdict(list)
    for note in report["notes"]:
        onsets[note["hand"] or "R"].append(Fraction(note["onset"]))
    free = {}
    for index, bar in enumerate(bars, 1):
        best = 0.0
        for hand in "RL":
            before = max((o for o in onsets[hand] if o < bar.onset), default=None)
            after = min((o for o in onsets[hand] if o >= bar.onset), default=None)
            if before is None or after is None:
                best = max(best, TURN)
            else:
                best = max(best, tempo.seconds(after) - tempo.seconds(before))
        free[index] = best
    return free


def share_pages(lines: Sequence[Line], free: Mapping[int, float], first_height: float,
                height: float) -> list[tuple[Line, ...]]:
    """Share the lines among pages: full pages, turned where a hand is free.

    Parameters
    ----------
    free
        Seconds a hand is free at the start of a bar, by the bar's index.
    first_height, height
        Room for music on the first and on every other page, in tenths of a millimetre.

    Exact over all ways to cut: the least sum of emptiness (squared) and hurry at the turns.
    """
    count = len(lines)

    @cache
    def best(start: int) -> tuple[float, int]:
        """Least price of the lines from ``start`` on, and where their first page ends."""
        room = first_height if start == 0 else height
        used, found = 0.0, (float("inf"), start + 1)
        for end in range(start + 1, count + 1):
            used += lines[end - 1].height + (GAP if end > start + 1 else 0)
            if used > room and end > start + 1:
                break
            price = 0.0
            if end < count:
                hurry = max(0.0, 1 - free.get(lines[end].first, 0.0) / TURN)
                price = _PAGE + _EMPTY * max(0.0, 1 - used / room) ** 2 + _HURRY * hurry
                price += best(end)[0]
            found = min(found, (price, end))
        return found

    for start in reversed(range(count)):
        best(start)  # from the end, so no call goes deep
    pages, at = [], 0
    while at < count:
        end = best(at)[1]
        pages.append(tuple(lines[at:end]))
        at = end
    return pages
