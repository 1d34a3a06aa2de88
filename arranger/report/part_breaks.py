"""Where the lines of a printed part end, if the last would be left with a bar or two."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import cache
from statistics import median
from xml.etree import ElementTree as ET

_STAFF_LINE = re.compile(r"M(-?[\d.]+) -?[\d.]+ L(-?[\d.]+)")
#: Of the width: a last line that fills less is drawn as wide as it is, and looks left over.
LEFT_OVER = 0.6
#: Least width of a line's bars beside their natural one; verovio itself goes to 0.94 (measured).
_TIGHT = 0.92
# Prices (assumptions): of a line; of pressing it to the utmost; of spreading it to its double; of
# how empty a last one is left, these three squared.
_LINE, _PRESSED, _SPREAD, _SHORT = 0.2, 2.0, 10.0, 20.0


def bar_widths(drawing: ET.Element) -> list[float]:
    """Return the widths of the bars of a cleaned drawing, in its units."""
    widths = []
    for measure in drawing.iter("g"):
        if measure.get("class") == "measure":
            found = (_STAFF_LINE.match(path.get("d", ""))
                     for path in measure.iterfind("g[@class='staff']/path"))
            edges = next(((float(f[1]), float(f[2])) for f in found if f), (0.0, 0.0))
            widths.append(edges[1] - edges[0])
    return widths


def shorten_line(drawing: ET.Element, by: float) -> None:
    """Let the staves of a cleaned drawing end earlier, at the end of its last bar."""
    last = [g for g in drawing.iter("g") if g.get("class") == "measure"][-1:]
    for path in (p for measure in last for p in measure.iterfind("g[@class='staff']/path")):
        if found := _STAFF_LINE.match(path.get("d", "")):
            path.set("d", path.get("d", "").replace(f"L{found[2]} ", f"L{float(found[2]) - by:g} "))


def heads(natural: Sequence[float], lines: Sequence[Sequence[float]]) -> dict[int, float]:
    """Return what clef and signature take of each engraved line but the first, by its first bar.

    Parameters
    ----------
    natural : widths of all bars in one endless line.
    lines : widths of the bars of each line as engraved.
    """
    found, at = {}, 0
    for line in lines:
        rest = sum(natural[at + 1:at + len(line)])
        if at and rest:
            found[at] = max(0.0, line[0] - natural[at] * sum(line[1:]) / rest)
        at += len(line)
    return found


def best_breaks(natural: Sequence[float], taken: Mapping[int, float], width: float,
                begin: int = 0) -> tuple[int, ...]:
    """Return the first bars (from 0) of the lines after the one that begins with bar ``begin``.

    Exact over all ways to part the bars: few lines, little pressed or spread, the last one full.

    Parameters
    ----------
    natural, taken : as ``heads`` takes and returns them.
    width : of a line.
    """
    count = len(natural)
    usual = median(taken.values()) if taken else 0.0

    def price(start: int, end: int) -> float:
        head = usual if start else 0.0
        if start and (known := [taken[bar] for bar in taken if bar <= start]):
            head = known[-1]
        bars = sum(natural[start:end])
        stretch = max(width - head, 1.0) / max(bars, 1.0)
        if stretch < _TIGHT and end > start + 1:
            return float("inf")
        if stretch < 1:
            return _LINE + _PRESSED * ((1 - stretch) / (1 - _TIGHT)) ** 2
        if end == count and stretch > 1 / LEFT_OVER:
            return _LINE + _SHORT * (1 - 1 / stretch) ** 2
        return _LINE + _SPREAD * (stretch - 1) ** 2

    @cache
    def best(start: int) -> tuple[float, int]:
        found, wide = (float("inf"), start + 1), 0.0
        for end in range(start + 1, count + 1):
            wide += natural[end - 1]
            if wide > 1.2 * width and end > start + 1:
                break
            here = price(start, end) + (best(end)[0] if end < count else 0.0)
            found = min(found, (here, end))
        return found

    for start in reversed(range(begin, count)):
        best(start)  # from the end, so no call goes deep
    breaks, at = [], best(begin)[1] if begin < count else count
    while at < count:
        breaks.append(at)
        at = best(at)[1]
    return tuple(breaks)
