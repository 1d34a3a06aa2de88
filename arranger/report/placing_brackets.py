"""Brackets over the fingers that are set together before the first of their strings is plucked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree as ET

from arranger.report.drawn_shapes import Box, Edge, lowest, text_box

#: The engraver's option by which every finger names its note.
NAMED_FINGERS: Mapping[str, object] = {"svgAdditionalAttribute": ["fing@startid"]}
_NAME = "data-startid"
# In sizes of the letters: a finger's height, room over it, how far a bracket reaches beside its
# fingers and down.
_HIGH, _CLEAR, _BESIDE, _DOWN = 0.7, 0.22, 0.3, 0.22
_STEEPEST = 0.35
_SIZE = 300.0  # of a finger that says none, in the engraver's units
# In heights of words: by how much a bracket raises them at most, and how far they stand over it.
_RAISED, _OVER = 1.5, 0.15

Point = tuple[float, float]
#: The notes of a placed group, grip by grip in order of time.
Placed = tuple[tuple[str, ...], ...]


def placed_together(notes: Sequence[Mapping[str, Any]]) -> tuple[Placed, ...]:
    """Return the placed groups of two grips or more, from the notes of a report."""
    groups: dict[int, dict[Fraction, list[str]]] = {}
    for note in notes:
        if "group" in note:
            grips = groups.setdefault(note["group"], {})
            grips.setdefault(Fraction(note["onset"]), []).append(note["id"])
    return tuple(tuple(tuple(grips[onset]) for onset in sorted(grips))
                 for grips in groups.values() if len(grips) > 1)


def draw_brackets(root: ET.Element, groups: Sequence[Placed]) -> None:
    """Draw a bracket over each group whose fingers stand in a cleaned drawing.

    A group that goes on in the next system has one there too; where a grip shows no finger, as with
    hints, nothing tells what a bracket would hold together. Words that a bracket would cross rise.
    """
    fingers: dict[str, tuple[ET.Element, Point, float]] = {}
    for element in root.iter("g"):
        name = element.attrib.pop(_NAME, "").lstrip("#")
        text = element.find("text")
        if name and text is not None:
            sizes = [float(run.get("font-size", "0px").removesuffix("px"))
                     for run in text.iter("tspan")]
            place = float(text.get("x", "0")), float(text.get("y", "0"))
            fingers[name] = element, place, max(sizes, default=0.0) or _SIZE
    drawn: list[tuple[Edge, ...]] = []
    for group in groups:
        tops = [min(((fingers[n][1][1], n) for n in grip if n in fingers), default=None)
                for grip in group]
        for run in _runs([None if top is None else top[1] for top in tops], fingers):
            element, _, size = fingers[run[0]]
            points = _bracket([fingers[n][1] for n in run], size)
            drawn.append(tuple(pairwise(points)))
            ET.SubElement(element, "path", {
                "d": "M" + "L".join(f"{x:.0f} {y:.0f}" for x, y in points), "fill": "none",
                "stroke": "currentColor", "stroke-width": "16"})
    _raise_words(root, drawn)


def _raise_words(root: ET.Element, brackets: Sequence[tuple[Edge, ...]]) -> None:
    """Raise words and tempi off the brackets, and those above them off what was raised."""
    met = [(_around(edges), edges) for edges in brackets]
    found = [(box, group) for kind in ("dir", "tempo")
             for group in root.iterfind(f".//g[@class='{kind}']")
             if (box := next(filter(None, map(text_box, group.findall("text"))), None))]
    for box, group in sorted(found, key=lambda words: -words[0].low):
        high = box.low - box.top
        room = Box(box.left, box.top, box.right, box.low + _OVER * high)
        flipped = [((x0, -y0), (x1, -y1)) for other, edges in met if other.meets(room)
                   for (x0, y0), (x1, y1) in edges]
        up = room.low + lowest(flipped, box.left, box.right)
        if 0 < up <= _RAISED * high:
            for element in group.iter():
                if element.tag in ("text", "tspan") and element.get("y") is not None:
                    element.set("y", f"{float(element.get('y', '0')) - up:g}")
            raised = Box(box.left, box.top - up, box.right, box.low - up)
            met.append((raised, tuple(raised.edges())))


def _around(edges: Sequence[Edge]) -> Box:
    xs, ys = zip(*(point for edge in edges for point in edge), strict=True)
    return Box(min(xs), min(ys), max(xs), max(ys))


def _runs(names: Sequence[str | None], fingers: Mapping[str, tuple[ET.Element, Point, float]]
          ) -> Iterator[list[str]]:
    """Split a group where its system ends, or where a grip shows no finger; two at least."""
    run: list[str] = []
    for name in (*names, None):
        if run and (name is None or fingers[name][1][0] <= fingers[run[-1]][1][0]):
            if len(run) > 1:
                yield run
            run = []
        if name is not None:
            run.append(name)


def _bracket(places: Sequence[Point], size: float) -> list[Point]:
    """Outline of a bracket over fingers: as they rise or fall, but no steeper than reads well."""
    (left, first), (right, last) = places[0], places[-1]
    steep = max(-_STEEPEST, min(_STEEPEST, (last - first) / (right - left)))
    over = min(y - steep * (x - left) for x, y in places) - (_HIGH + _CLEAR) * size
    beside, down = _BESIDE * size, _DOWN * size
    ends = [(x, over + steep * (x - left)) for x in (left - beside, right + beside)]
    (x0, y0), (x1, y1) = ends
    return [(x0, y0 + down), (x0, y0), (x1, y1), (x1, y1 + down)]
