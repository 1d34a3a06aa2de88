"""Pedal marks in two rows below a system: the right foot's above the left foot's.

A player finds the feet by the row, so every system has its own two (harp notation manual of the
Sibelius Academy, "Pedaling": above or below both staves, never between). They lie where no mark
meets a note; what stands under the staff besides gives way.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass
from itertools import accumulate
from xml.etree import ElementTree as ET

from arranger.model.harp import RIGHT_FOOT
from arranger.report.drawn_shapes import Box, Edge, Shapes, lowest

#: Verovio knows no width for the first of each pair, so pedal words would run into one another:
#: it lays out the second. A boxed word stands in brackets.
_SIGNS = (("♯", "#"), ("♭", "$"), ("♮", "="))
_WORD = re.compile(r"\[?[A-G][♯♭♮]\]?")
_HELD_WORD = re.compile(r"(\[?)([A-G])([#$=])\]?")
_MOVED = re.compile(r"translate\(-?[\d.]+,(-?[\d.]+)\)")
_MARGIN = 30.0  # least room under a drawing, in its units
_HELD = re.compile(r"(?:\[?[A-G][#$=]\]?\s?)+")
# In sizes of the letters: width of a word, room beside it, its height over and under the line,
# a box round it, from row to row, and room to what is above.
_WIDE, _BESIDE, _OVER, _UNDER, _PAD, _ROW, _CLEAR = 1.15, 0.2, 0.75, 0.15, 0.15, 1.0, 0.25


def said_pedals(direction: ET.Element) -> list[str]:
    """Return the words of a direction that is nothing but pedal words, boxed ones in brackets."""
    signs = direction.findall("direction-type/*")
    words = [f"[{text}]" if sign.get("enclosure") == "rectangle" else text
             for sign in signs if (text := "".join(sign.itertext()).strip())]
    found = _WORD.findall(" ".join(words))
    plain = all(sign.tag == "words" for sign in signs)
    return found if plain and " ".join(found) == " ".join(" ".join(words).split()) else []


def hold_pedals(direction: ET.Element) -> None:
    """Put words in place of a direction's pedal words for which the engraver leaves room."""
    said = " ".join(said_pedals(direction))
    if said:
        for kind in direction.findall("direction-type")[1:]:
            direction.remove(kind)
        held = direction.findall("direction-type")[0]
        held[:] = [ET.Element("words")]
        held[0].text = said.translate({ord(old): new for old, new in _SIGNS})


@dataclass(slots=True)
class _Mark:
    """A pedal word: the ``group`` it is drawn in, the engraver's ``text`` it looks like."""

    group: ET.Element
    text: ET.Element
    word: str
    boxed: bool
    x: float

    @property
    def right(self) -> bool:
        return self.word[0] in RIGHT_FOOT


def draw_pedals(root: ET.Element, glyphs: Mapping[str, ET.Element]) -> None:
    """Draw the pedal words of a cleaned page in the rows of their systems.

    A page of one system becomes as high as it needs to be, another no less high than it was.
    """
    shapes = Shapes(glyphs)
    systems = root.findall(".//g[@class='system']")
    low = max((_draw_system(system, shapes) for system in systems), default=float("-inf"))
    inner = root.find("svg")
    if low > float("-inf") and inner is not None:
        _fit(root, inner, low, len(systems) == 1)


def _fit(root: ET.Element, inner: ET.Element, low: float, shrink: bool) -> None:
    """Make a page so high that it ends below ``low``, in the units of its ``inner`` drawing.

    A page with a margin keeps it and never shrinks.
    """
    left, top, wide, high = (float(v) for v in inner.get("viewBox", "0 0 1 1").split())
    moved = (_MOVED.match(group.get("transform", "")) for group in inner.findall("g"))
    margin = max((float(found[1]) for found in moved if found), default=0.0)
    needed = low + margin + _MARGIN
    if needed > high or (shrink and not margin):
        outer = [float(v) for v in root.get("viewBox", "0 0 1 1").split()]
        outer[3] *= needed / high
        root.set("viewBox", " ".join(f"{v:g}" for v in outer))
        inner.set("viewBox", f"{left:g} {top:g} {wide:g} {needed:g}")


def _draw_system(system: ET.Element, shapes: Shapes) -> float:
    """Lay the rows of a system; return how far down it reaches, minus infinity without marks."""
    staves = [staff for measure in system.findall("g[@class='measure']")
              for staff in measure.findall("g[@class='staff']")[-1:]]
    lines = [edge for staff in staves for path in staff.findall("path")
             for edge in Shapes({}).edges(path)]
    if not lines:
        return float("-inf")
    bottom = max(y for edge in lines for _, y in edge)
    end = max(x for edge in lines for x, _ in edge)
    below: list[ET.Element] = []
    marks: list[_Mark] = []
    for group in system.findall(".//g[@class='dir']"):
        box = _whole(group, shapes)
        held = list(_marks(group))
        if box is None or (box.low + box.top) / 2 < bottom:
            for mark in held:  # above the staff: it stays where it is
                _draw(mark, float(mark.text.get("y", "0")))
            continue
        marks += held
        below.append(group)
    if not marks:
        return float("-inf")
    edges = [edge for edge in shapes.edges(system, below) if max(edge[0][1], edge[1][1]) > bottom]
    boxes = _lay(marks, edges, bottom, end)
    for group in below:
        if all(group is not mark.group for mark in marks):
            boxes.append(_give_way(group, shapes, boxes, edges, bottom))
    return max(*(box.low for box in boxes), *(y for edge in edges for _, y in edge), bottom)


def _whole(group: ET.Element, shapes: Shapes) -> Box | None:
    found = [box for child in group if (box := shapes.box(child)) is not None]
    if not found:
        return None
    return Box(min(b.left for b in found), min(b.top for b in found),
               max(b.right for b in found), max(b.low for b in found))


def _size(text: ET.Element) -> float:
    return max(float(run.get("font-size", "0").removesuffix("px")) for run in text.iter())


def _marks(group: ET.Element) -> Iterator[_Mark]:
    """Take the words out of a group, the feet each from its beginning."""
    text = group.find("text")
    said = "" if text is None else "".join(text.itertext()).strip()
    if text is None or not _HELD.fullmatch(said):
        return
    group.remove(text)
    places = {True: float(text.get("x", "0")), False: float(text.get("x", "0"))}
    signs = {new: old for old, new in _SIGNS}
    for bracket, letter, sign in _HELD_WORD.findall(said):
        right = letter in RIGHT_FOOT
        yield _Mark(group, text, letter + signs[sign], bool(bracket), places[right])
        places[right] += _size(text)


def _lay(marks: Sequence[_Mark], edges: Sequence[Edge], bottom: float, end: float) -> list[Box]:
    """Draw the marks in their rows; return their boxes."""
    size = max(_size(mark.text) for mark in marks)
    feet = [row for foot in (True, False)
            if (row := sorted((m for m in marks if m.right is foot), key=lambda m: m.x))]
    step = size * (_ROW + sum(_PAD for row in feet if any(mark.boxed for mark in row)))
    first = bottom + size * (_CLEAR + _OVER)
    for rank, row in enumerate(feet):
        _part(row, size, end)
        for mark in row:
            box = _box(mark, 0.0, size)
            first = max(first, lowest(edges, box.left, box.right) + _CLEAR * size - box.top
                        - rank * step)
    boxes = []
    for rank, row in enumerate(feet):
        for mark in row:
            _draw(mark, first + rank * step)
            boxes.append(_box(mark, first + rank * step, size))
    return boxes


def _box(mark: _Mark, y: float, size: float) -> Box:
    pad = _PAD * size if mark.boxed else 0.0
    return Box(mark.x - pad, y - _OVER * size - pad, mark.x + _WIDE * size + pad,
               y + _UNDER * size + pad)


def _part(row: Sequence[_Mark], size: float, end: float) -> None:
    """Move the marks of a row as little as it takes that none meets the next, or passes the end.

    Least squares in their order: marks that would meet share what is missing.
    """
    wide = [size * (_WIDE + _BESIDE + (2 * _PAD if mark.boxed else 0)) for mark in row]
    before = list(accumulate(wide, initial=0.0))
    pools: list[tuple[float, int]] = []  # mean place, marks in it
    for mark, taken in zip(row, before, strict=False):
        pools.append((mark.x - taken, 1))
        while len(pools) > 1 and pools[-2][0] >= pools[-1][0]:
            (one, few), (two, more) = pools[-2:]
            pools[-2:] = [((one * few + two * more) / (few + more), few + more)]
    last = end - before[-1] + size * _BESIDE
    places = [min(place, last) for place, count in pools for _ in range(count)]
    for mark, place, taken in zip(row, places, before, strict=False):
        mark.x = place + taken


def _draw(mark: _Mark, y: float) -> None:
    text = deepcopy(mark.text)
    text.attrib.update({"x": f"{mark.x:g}", "y": f"{y:g}"})
    runs = [run for run in text.iter() if (run.text or "").strip()]
    runs[0].text = mark.word
    for run in runs[1:]:
        run.text = ""
    for run in text.iter():
        if run is not text:
            run.attrib.pop("x", None)
            run.attrib.pop("y", None)
    if mark.boxed:
        box = _box(mark, y, _size(text))
        mark.group.append(ET.Element("rect", {
            "stroke-width": "20", "fill-opacity": "0", "x": f"{box.left:g}", "y": f"{box.top:g}",
            "height": f"{box.low - box.top:g}", "width": f"{box.right - box.left:g}"}))
    mark.group.append(text)


def _give_way(group: ET.Element, shapes: Shapes, boxes: Sequence[Box], edges: Sequence[Edge],
              bottom: float) -> Box:
    """Lower a diagram or words until they meet no mark; a diagram rises to the staff if it can."""
    box = _whole(group, shapes)
    assert box is not None
    room, start = 100.0, box.top
    if group.find("svg") is not None:
        start = max(bottom, lowest(edges, box.left, box.right)) + room
    high, top = box.low - box.top, start
    here = Box(box.left, top, box.right, top + high)
    for _ in boxes:
        met = [other.low for other in boxes if other.meets(here)]
        if not met:
            break
        top = max(met) + room
        here = Box(box.left, top, box.right, top + high)
    for child in group:
        for element in child.iter() if child.tag == "text" else (child,):
            if element.get("y") is not None:
                element.set("y", f"{float(element.get('y', '0')) + top - box.top:g}")
    return here
