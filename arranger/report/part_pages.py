"""The harp part for the stand: its lines of music, and which of them share a page."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import accumulate
from typing import Any
from xml.etree import ElementTree as ET

from arranger.model.harp import PedalSetting
from arranger.report.engraver import as_text, clean, draw_settings, engraved, hold_settings
from arranger.report.page_time import bars_of, tempo_of
from arranger.report.part_alone import part_alone
from arranger.report.part_breaks import (
    LEFT_OVER,
    bar_widths,
    best_breaks,
    heads,
    shorten_line,
)
from arranger.report.placing_brackets import NAMED_FINGERS, Placed, draw_brackets
from arranger.report.repeated_grips import thin_fingers
from arranger.report.staff_rests import hold_staves

#: Verovio's unit of a tenth of a millimetre: 18 cm of music, staves 7 mm high as in printed parts.
_OPTIONS = {
    "pageWidth": 1800, "pageHeight": 100, "adjustPageHeight": True, "unit": 8.75,
    "pageMarginLeft": 0, "pageMarginRight": 0, "pageMarginTop": 0, "pageMarginBottom": 0,
    "header": "none", "footer": "none", "minLastJustification": LEFT_OVER,
    "spacingStaff": 9, "spacingNonLinear": 0.55, **NAMED_FINGERS,
}
#: Where there are words: room between them, and behind bar lines, as the first word of a bar
#: begins left of its note. That room behind the last bar of a line, in hundredths, is cut off.
_SUNG = {"lyricWordSpace": 2.0, "rightMarginBarLine": 2.0, "rightMarginRightBarLine": 2.0,
         "rightMarginLeftBarLine": 2.0, "pageWidth": 1818}
_BEHIND = 175
#: Seconds a hand needs to turn a page (assumption).
TURN = 2.0
# Prices (assumptions): a page; a page left empty; a turn for which no hand is free; a last page
# that is less than half full; a last line left over.
_PAGE, _EMPTY, _HURRY, _THIN, _LEFT = 15, 100, 30, 400, 30
#: Staves of 7 mm, or down to 6.6; the last costs nearly as much as a page (assumption).
_SCALES, _SMALL = (1.0, 0.98, 0.96, 0.94), 200
_TAIL = 6  # so many lines at the end are broken anew, where the others stay (assumption)
GAP = 25  # least room between two lines of music, in tenths of a millimetre


@dataclass(frozen=True, slots=True)
class Line:
    """A line of music (both staves over the page's width); ``first`` is its first bar from 1.

    ``height`` in tenths of a millimetre; ``drawing``, and the ``width`` of its bars, in verovio's
    hundredths.
    """

    drawing: ET.Element
    height: float
    first: int
    width: float = 0.0


def part_lines(draft_xml: bytes, glyphs: dict[str, ET.Element],
               groups: Sequence[Placed] = ()) -> tuple[tuple[Line, ...], ...]:
    """Engrave the harp part alone, line by line; where the last line is left over, in several ways.

    ``groups``: placed groups, over which brackets are drawn.

    Raises
    ------
    EngravingError
        Verovio is not installed or refuses the score.
    """
    root = ET.fromstring(draft_xml)
    part = part_alone(root)
    settings = hold_settings(part)
    hold_staves(part)
    thin_fingers(part, groups)
    plain, = _drawn([root], glyphs, "auto")
    ways = [plain]
    broken = [bar_widths(drawing) for drawing in plain]
    width = sum(broken[0])
    if len(broken) > 1 and sum(broken[-1]) < LEFT_OVER * width:
        endless, = _drawn([root], glyphs, "none")
        natural = [wide for drawing in endless for wide in bar_widths(drawing)]
        ways += _drawn([_broken(root, breaks) for breaks in _whole_and_tail(natural, broken)],
                       glyphs, "line")
    return tuple(_lines(drawings, settings, glyphs, groups) for drawings in ways)


def _whole_and_tail(natural: Sequence[float], broken: Sequence[Sequence[float]],
                    ) -> list[tuple[int, ...]]:
    """Return the bars at which lines begin if all are broken anew, and if only the last are."""
    taken, width = heads(natural, broken), sum(broken[0])
    starts = list(accumulate(map(len, broken), initial=0))[:-1]
    kept = starts[:-_TAIL + 1 or None]
    return [best_breaks(natural, taken, width),
            *([(*kept[1:], *best_breaks(natural, taken, width, kept[-1]))]
              if len(kept) > 1 else [])]


def _broken(root: ET.Element, breaks: Iterable[int]) -> ET.Element:
    """Copy a score of one part with lines that begin at these bars (from 0).

    The first is named too: of a score without breaks verovio finds its own.
    """
    copy = deepcopy(root)
    measures = copy.findall("part/measure")
    for first in (0, *breaks):
        measures[first].insert(0, ET.Element("print", {"new-system": "yes"}))
    return copy


def _drawn(roots: Sequence[ET.Element], glyphs: dict[str, ET.Element],
           breaks: str) -> list[list[ET.Element]]:
    """Engrave scores on pages so low that each holds one line."""
    sung = [root.find("part/measure/note/lyric") is not None for root in roots]
    asked = [(as_text(root), {**_OPTIONS, **(_SUNG if words else {}), "breaks": breaks})
             for root, words in zip(roots, sung, strict=True)]
    found = [[clean(page, glyphs) for page in drawn.pages()] for drawn in engraved(*asked)]
    for drawings, words in zip(found, sung, strict=True):
        for drawing in drawings if words else ():
            shorten_line(drawing, _BEHIND)
    return found


def _lines(drawings: Iterable[ET.Element], settings: Sequence[tuple[int, PedalSetting]],
           glyphs: dict[str, ET.Element], groups: Sequence[Placed]) -> tuple[Line, ...]:
    lines, first = [], 1
    for drawing in drawings:
        draw_brackets(drawing, groups)
        draw_settings(drawing, settings, glyphs)
        height = float(drawing.get("viewBox", "0 0 0 0").split()[3])
        widths = bar_widths(drawing)
        lines.append(Line(drawing, height, first, sum(widths)))
        first += len(widths)
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


def best_pages(ways: Iterable[Sequence[Line]], free: Mapping[int, float], first_height: float,
               height: float) -> tuple[list[tuple[Line, ...]], float]:
    """Share among pages the lines of the way that makes the best ones, as ``share_pages`` does.

    Returns the pages and the scale at which they are drawn: a little smaller where that fills
    them better.
    """
    def price(way: Sequence[Line], scale: float) -> float:
        fill = way[-1].width / way[0].width / LEFT_OVER if len(way) > 1 and way[0].width else 1.0
        shared = _shared(way, free, first_height / scale, height / scale)[0]
        return shared + _LEFT * max(0.0, 1 - fill) + _SMALL * (1 - scale)

    choices = [(way, scale) for way in ways for scale in _SCALES]
    way, scale = min(choices, key=lambda choice: price(*choice))
    return share_pages(way, free, first_height / scale, height / scale), scale


def share_pages(lines: Sequence[Line], free: Mapping[int, float], first_height: float,
                height: float) -> list[tuple[Line, ...]]:
    """Share the lines among pages: full pages, turned where a hand is free.

    Parameters
    ----------
    free
        Seconds a hand is free at the start of a bar, by the bar's index.
    first_height, height
        Room for music on the first and on every other page, in tenths of a millimetre.

    Exact over all ways to cut: the least sum of emptiness (squared), hurry at the turns and how
    thin the last page is.
    """
    return _shared(lines, free, first_height, height)[1]


def _shared(lines: Sequence[Line], free: Mapping[int, float], first_height: float,
            height: float) -> tuple[float, list[tuple[Line, ...]]]:
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
            price = _THIN * max(0.0, 0.5 - used / room) ** 2 if start else 0.0
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
    return best(0)[0] if count else 0.0, pages
