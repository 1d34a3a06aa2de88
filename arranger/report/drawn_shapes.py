"""Where the shapes of a drawing are: their outlines as short straight edges, and their boxes."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from xml.etree import ElementTree as ET

from arranger.report.pdf_drawing import outline

_PLACED = re.compile(r"translate\((-?[\d.]+),(-?[\d.]+)\)(?: scale\((-?[\d.]+))?")
_NUMBER = re.compile(r"-?\d+\.?\d*")
_STEPS = 8  # straight edges that stand for a curve
#: Of the size of a letter, roughly: its width, how far it reaches up and down.
WIDE, UP, DOWN = 0.5, 0.75, 0.22

Point = tuple[float, float]
Edge = tuple[Point, Point]


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle in the units of the drawing; y runs downwards."""

    left: float
    top: float
    right: float
    low: float

    def meets(self, other: Box) -> bool:
        """Tell whether two boxes overlap."""
        return (self.left < other.right and other.left < self.right
                and self.top < other.low and other.top < self.low)

    def edges(self) -> Iterator[Edge]:
        """Yield the upper and the lower edge."""
        yield (self.left, self.top), (self.right, self.top)
        yield (self.left, self.low), (self.right, self.low)


class Shapes:
    """Reads drawings that share their music signs (``glyphs``), which are measured once."""

    def __init__(self, glyphs: Mapping[str, ET.Element]) -> None:
        self._glyphs = glyphs
        self._sizes: dict[str, Box | None] = {}

    def edges(self, root: ET.Element, without: Iterable[ET.Element] = ()) -> Iterator[Edge]:
        """Yield the edges of all shapes below ``root``, but those below some of its elements."""
        left_out = set(map(id, without))

        def walk(element: ET.Element) -> Iterator[Edge]:
            if id(element) in left_out:
                return
            yield from self._own(element)
            if element.tag != "text" and (element.tag != "svg" or element.get("x") is None):
                for child in element:  # what is in a drawing within has places of its own
                    yield from walk(child)

        return walk(root)

    def _own(self, element: ET.Element) -> Iterator[Edge]:
        if element.tag == "path":
            yield from _path(element.get("d", ""))
        elif element.tag in ("polygon", "polyline"):
            numbers = [float(n) for n in _NUMBER.findall(element.get("points", ""))]
            points = list(zip(numbers[::2], numbers[1::2], strict=False))
            yield from pairwise([*points, *points[:1]])
        elif (box := self.box(element)) is not None:
            yield from box.edges()

    def box(self, element: ET.Element) -> Box | None:
        """Return the box of a sign, a rectangle, an ellipse or a text; None for anything else."""
        if element.tag == "use":
            return self._sign(element)
        if element.tag in ("rect", "svg") and element.get("x") is not None:
            x, y, wide, high = (float(element.get(k, "0")) for k in ("x", "y", "width", "height"))
            return Box(x, y, x + wide, y + high)
        if element.tag in ("ellipse", "circle"):
            x, y = float(element.get("cx", "0")), float(element.get("cy", "0"))
            r = float(element.get("r", "0"))
            wide, high = float(element.get("rx", r)), float(element.get("ry", r))
            return Box(x - wide, y - high, x + wide, y + high)
        return text_box(element) if element.tag == "text" else None

    def _sign(self, use: ET.Element) -> Box | None:
        name = use.get("href", "")[1:]
        if name not in self._sizes:
            self._sizes[name] = _measured(self._glyphs.get(name))
        size, placed = self._sizes[name], _PLACED.search(use.get("transform", ""))
        if size is None or placed is None:
            return None
        x, y, scale = float(placed[1]), float(placed[2]), float(placed[3] or 1)
        return Box(x + scale * size.left, y + scale * size.top,
                   x + scale * size.right, y + scale * size.low)


def lowest(edges: Iterable[Edge], left: float, right: float) -> float:
    """Return how far down edges reach between two places; minus infinity if none is there."""
    low = float("-inf")
    for (x0, y0), (x1, y1) in edges:
        if x0 > x1:
            x0, y0, x1, y1 = x1, y1, x0, y0
        if x0 > right or x1 < left:
            continue
        if x0 == x1:
            low = max(low, y0, y1)
            continue
        slope = (y1 - y0) / (x1 - x0)
        low = max(low, y0 + slope * (max(x0, left) - x0), y0 + slope * (min(x1, right) - x0))
    return low


def text_box(text: ET.Element) -> Box | None:
    """Return roughly where a text stands, all its lines together; None for an empty one."""
    rows: list[tuple[float, float, list[str]]] = [
        (float(text.get("x", "0")), float(text.get("y", "0")), [])]
    size = 0.0
    for run in text.iter():
        if run is not text and run.get("y") is not None:
            rows.append((float(run.get("x", rows[-1][0])), float(run.get("y", "0")), []))
        size = max(size, float(run.get("font-size", "0").removesuffix("px")))
        rows[-1][2].append(run.text or "")
    said = [(x, y, WIDE * size * len("".join(words))) for x, y, words in rows
            if "".join(words).strip()]
    if not said:
        return None
    shift = {"middle": 0.5, "end": 1.0}.get(text.get("text-anchor", ""), 0.0)
    return Box(min(x - shift * wide for x, _, wide in said), said[0][1] - UP * size,
               max(x + (1 - shift) * wide for x, _, wide in said), said[-1][1] + DOWN * size)


def _measured(glyph: ET.Element | None) -> Box | None:
    """Box of a music sign, whose y runs upwards."""
    points = [point for path in (() if glyph is None else glyph.iter("path"))
              for edge in _path(path.get("d", "")) for point in edge]
    if not points:
        return None
    xs, ys = [x for x, _ in points], [-y for _, y in points]
    return Box(min(xs), min(ys), max(xs), max(ys))


def _path(d: str) -> Iterator[Edge]:
    at = start = (0.0, 0.0)
    for shape, numbers in outline(d):
        if shape == "Z":
            yield at, start
            at = start
            continue
        end = (numbers[-2], numbers[-1])
        if shape == "M":
            start = end
        elif shape == "L":
            yield at, end
        else:
            yield from pairwise(_curve(at, *zip(numbers[::2], numbers[1::2], strict=True)))
        at = end


def _curve(*handles: Point) -> Iterator[Point]:
    for step in range(_STEPS + 1):
        t = step / _STEPS
        weights = ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t ** 3)
        yield (sum(w * x for w, (x, _) in zip(weights, handles, strict=True)),
               sum(w * y for w, (_, y) in zip(weights, handles, strict=True)))
