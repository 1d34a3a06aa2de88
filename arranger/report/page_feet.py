"""The pedals over time: seven lines, each a pedal that stands up, in the middle or down.

The trade's diagram drawn out along the bars: a line that runs high is a flat, in the middle a
natural, low a sharp; the left foot's D C B above, the right foot's E F G A below.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from fractions import Fraction
from html import escape
from typing import Any

from arranger.model.harp import LEFT_FOOT, PEDALS, PedalSetting, pedal_word
from arranger.model.score import bar_name
from arranger.report.page_time import Bar, bars_of
from arranger.report.wording import Entry, beat_words, capital, plain

_QUARTER = 30  # width of a quarter note, in units of the drawing
_ROW = 34  # quarter notes in a row, about
_LEFT = 26  # room for the letters
_LANE = 22  # from one pedal's line to the next
_NOTCH = 5  # from natural to flat or sharp
_TOP = 26  # first line's middle; the bar numbers stand above
_FEET = 12  # room between the feet
_HEIGHT = _TOP + 6 * _LANE + _FEET + 16
_LEVEL = {-1: "flat", 0: "natural", 1: "sharp"}


def pedal_chart(report: Mapping[str, Any], linked: bool = True) -> str:
    """Draw the chart, a row for every few bars; nothing for a part without pedals or bars.

    ``linked``: the bars' numbers lead to the bars on the score.
    """
    bars, pedals = bars_of(report), report.get("pedals")
    if not bars or not pedals:
        return ""
    moves = sorted(pedals["moves"], key=lambda m: Fraction(m["onset"]))
    setting = PedalSetting.of(pedals["opening"])
    out, at = [], 0
    for row in _rows(bars):
        end = row[-1][1].onset + row[-1][1].duration
        last = row[-1][0] == len(bars)
        stop = next((k for k in range(at, len(moves)) if Fraction(moves[k]["onset"]) >= end
                     and not last), len(moves))
        out.append(_row(row, setting, moves[at:stop], linked))
        for move in moves[at:stop]:
            setting = setting.with_pedal(move["pedal"], move["to"])
        at = stop
    return (f'<div class="scroll feet" tabindex="0" role="region" aria-label="Pedals over time">'
            f'{"".join(out)}</div>')


def _rows(bars: Sequence[Bar]) -> Iterator[list[tuple[int, Bar]]]:
    """Share the bars among rows, each with its index from 1."""
    row: list[tuple[int, Bar]] = []
    for index, bar in enumerate(bars, 1):
        if row and bar.onset + bar.duration - row[0][1].onset > _ROW:
            yield row
            row = []
        row.append((index, bar))
    yield row


def _height(pedal: str) -> int:
    return _TOP + PEDALS.index(pedal) * _LANE + (0 if pedal in LEFT_FOOT else _FEET)


def _row(row: Sequence[tuple[int, Bar]], setting: PedalSetting, moves: Sequence[Entry],
         linked: bool) -> str:
    start = row[0][1].onset
    end = row[-1][1].onset + row[-1][1].duration

    def x(onset: Fraction) -> float:
        return round(_LEFT + float(onset - start) * _QUARTER, 1)

    width = max(x(end) + 14, _LEFT + _ROW * _QUARTER + 14)
    shapes = [*_grid(row, x, linked)]
    for pedal, alter in zip(PEDALS, setting.alters, strict=True):
        shapes += _lane(pedal, alter, [m for m in moves if m["pedal"] == pedal], x, x(end))
    words = escape(_said(row, moves))
    return (f'<svg class="chart" viewBox="0 0 {width:g} {_HEIGHT}" role="group" '
            f'aria-label="{words}">{"".join(shapes)}</svg>')


def _grid(row: Sequence[tuple[int, Bar]], x: Callable[[Fraction], float],
          linked: bool) -> Iterator[str]:
    top, low = _TOP - 12, _HEIGHT - 10
    beats, lines = [], []
    for index, bar in row:
        left, right = x(bar.onset), x(bar.onset + bar.duration)
        number = escape(bar.number)
        link = f'<a href="#bar-{index}" tabindex="-1" aria-label="{capital(bar_name(number))}">'
        before, after = (link, "</a>") if linked else ("", "")
        yield (f'{before}<rect class="field" data-bar="{index}" x="{left}" y="0" '
               f'width="{right - left:.1f}" height="{low}"/>'
               f'<text class="number" x="{left + 3}" y="10">{number}</text>{after}')
        lines.append(f"M{left} {top}V{low}")
        at = bar.onset + bar.beat
        while at < bar.onset + bar.duration and bar.beat > 0:
            beats.append(f"M{x(at)} {top}V{low}")
            at += bar.beat
    end = x(row[-1][1].onset + row[-1][1].duration)
    yield f'<path class="beats" d="{"".join(beats)}"/>' if beats else ""
    yield f'<path class="bars" d="{"".join(lines)}M{end} {top}V{low}"/>'


def _lane(pedal: str, alter: int, moves: Sequence[Entry],
          x: Callable[[Fraction], float], end: float) -> Iterator[str]:
    middle = _height(pedal)
    path = f"M{_LEFT} {middle + alter * _NOTCH}"
    strokes, signs = [], []
    for move in moves:
        at = x(Fraction(move["onset"]))
        path += f"H{at}V{middle + move['to'] * _NOTCH}"
        two = abs(move["to"] - move["from"]) == 2
        strokes.append(f"M{at} {middle + move['from'] * _NOTCH}V{middle + move['to'] * _NOTCH}")
        signs.append(_sign(move, at + 3, middle, two))
    yield (f'<text class="letter" x="4" y="{middle + 4}">{pedal}</text>'
           f'<path class="natural" d="M{_LEFT} {middle}H{end}"/>'
           f'<path class="lane" d="{path}H{end}"/>')
    yield f'<path class="moved" d="{"".join(strokes)}"/>' if strokes else ""
    yield from signs


def _sign(move: Entry, x: float, middle: int, two: bool) -> str:
    word = escape(pedal_word(move["pedal"], move["to"]))
    y = middle - 3 if move["to"] > 0 else middle + 10
    notches = "two notches, " if two else ""
    said = (f'{bar_name(plain(move["bar"]))}, beat {beat_words(move["beat"])}: {move["pedal"]} to '
            f'{_LEVEL[move["to"]]}, {notches}{"left" if move["foot"] == "L" else "right"} foot')
    box = f'<rect class="two" x="{x - 2:g}" y="{y - 10}" width="22" height="13"/>' if two else ""
    return (f'<g class="move"><title>{escape(said)}</title>{box}'
            f'<text x="{x + 1:g}" y="{y}">{word}</text></g>')


def _said(row: Sequence[tuple[int, Bar]], moves: Sequence[Entry]) -> str:
    count = len(moves)
    moved = "no pedal moves" if not count else f"{count} pedal move{'s' if count > 1 else ''}"
    return f"Bars {row[0][1].number} to {row[-1][1].number}: {moved}; listed below"
