"""Verovio's drawings on a PDF page: the few shapes of SVG that they are made of, as vectors."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any
from xml.etree import ElementTree as ET

from arranger.report.pdf_text import draw_runs, runs_of

_NUMBER = re.compile(r"-?(?:\d+\.?\d*|\.\d+)(?:e-?\d+)?")
_STEP = re.compile(r"([MmLlHhVvCcSsQqTtZz])([^MmLlHhVvCcSsQqTtZz]*)")
_MOVED = re.compile(r"translate\((-?[\d.]+),? *(-?[\d.]+)?\)")
_TURNED = re.compile(r"rotate\((-?[\d.]+) (-?[\d.]+),(-?[\d.]+)\)")
_SCALED = re.compile(r"scale\((-?[\d.]+)(?:,? *(-?[\d.]+))?\)")
_TAKES = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2}

Points = tuple[float, ...]


def outline(path: str) -> Iterator[tuple[str, Points]]:
    """Give an SVG path as moves, lines and cubic curves (M, L, C, Z) in absolute points.

    Arcs are not known: verovio draws none.
    """
    x = y = left = top = 0.0
    handle = None  # the last curve's second handle, for S and T
    for sign, text in _STEP.findall(path):
        if sign in "Zz":
            yield "Z", ()
            x, y = left, top
            continue
        numbers = [float(n) for n in _NUMBER.findall(text)]
        size, kind = _TAKES[sign.upper()], sign.upper()
        for at in range(0, len(numbers), size):
            some = numbers[at:at + size]
            if sign.islower():
                some = _absolute(kind, some, x, y)
            shape, points, handle = _step("L" if kind == "M" and at else kind, some, x, y, handle)
            yield shape, points
            x, y = points[-2], points[-1]
            if shape == "M":
                left, top = x, y


def _absolute(kind: str, some: list[float], x: float, y: float) -> list[float]:
    if kind == "H":
        return [some[0] + x]
    if kind == "V":
        return [some[0] + y]
    return [n + (y if at % 2 else x) for at, n in enumerate(some)]


def _step(kind: str, p: list[float], x: float, y: float, handle: Points | None,
          ) -> tuple[str, Points, Points | None]:
    """Return shape, its points, and the handle a following smooth curve mirrors."""
    if kind in "ML":
        return kind, (p[0], p[1]), None
    if kind == "H":
        return "L", (p[0], y), None
    if kind == "V":
        return "L", (x, p[0]), None
    mirrored = (x, y) if handle is None else (2 * x - handle[0], 2 * y - handle[1])
    if kind == "C":
        return "C", tuple(p), (p[2], p[3])
    if kind == "S":
        return "C", (*mirrored, *p), (p[0], p[1])
    q = (p[0], p[1]) if kind == "Q" else mirrored
    end = (p[-2], p[-1])
    first = (x + 2 * (q[0] - x) / 3, y + 2 * (q[1] - y) / 3)
    second = (end[0] + 2 * (q[0] - end[0]) / 3, end[1] + 2 * (q[1] - end[1]) / 3)
    return "C", (*first, *second, *end), q


class Drawing:
    """Draws on a reportlab canvas; every music sign is stored in the file once."""

    def __init__(self, canvas: Any, glyphs: Mapping[str, ET.Element]) -> None:
        self._canvas = canvas
        self._glyphs = glyphs
        self._stored: set[str] = set()

    def draw(self, drawing: ET.Element, x: float, y: float, scale: float) -> None:
        """Draw an SVG with its upper left corner at (x, y); ``scale`` points a unit inside."""
        for name in sorted({u.get("href", "")[1:] for u in drawing.iter("use")} - self._stored):
            self._store(name)
        self._canvas.saveState()
        self._canvas.translate(x, y)
        self._canvas.scale(scale, -scale)  # SVG's y runs downwards
        self._canvas.setLineCap(0)
        for child in drawing:
            self._element(child, frozenset())
        self._canvas.restoreState()

    def _store(self, name: str) -> None:
        self._stored.add(name)
        glyph = self._glyphs.get(name)
        self._canvas.beginForm(name, -2000, -2000, 4000, 4000)
        for path in () if glyph is None else glyph.iter("path"):
            self._canvas.saveState()
            self._place(path.get("transform", ""))
            self._fill(path.get("d", ""))
            self._canvas.restoreState()
        self._canvas.endForm()

    def _fill(self, d: str, stroke: int = 0, fill: int = 1) -> None:
        path = self._canvas.beginPath()
        add = {"M": path.moveTo, "L": path.lineTo, "C": path.curveTo, "Z": path.close}
        for shape, points in outline(d):
            add[shape](*points)
        self._canvas.drawPath(path, stroke=stroke, fill=fill)

    def _place(self, transform: str) -> None:
        moved, scaled = _MOVED.search(transform), _SCALED.search(transform)
        turned = _TURNED.search(transform)
        if turned:
            angle, x, y = (float(n) for n in turned.groups())
            self._canvas.translate(x, y)
            self._canvas.rotate(angle)
            self._canvas.translate(-x, -y)
        if moved:
            self._canvas.translate(float(moved[1]), float(moved[2] or 0))
        if scaled:
            self._canvas.scale(float(scaled[1]), float(scaled[2] or scaled[1]))

    def _element(self, element: ET.Element, kinds: frozenset[str]) -> None:
        canvas, tag = self._canvas, element.tag
        if tag == "text":
            self._text(element, kinds)
            return
        if tag == "title" or "field" in element.get("class", ""):
            return
        canvas.saveState()
        self._place(element.get("transform", ""))
        if tag == "svg":
            self._nested(element)
        elif tag == "use":
            canvas.doForm(element.get("href", "")[1:])
        elif tag in ("path", "polygon", "polyline", "rect", "ellipse", "circle"):
            self._shape(element)
        kinds |= set(element.get("class", "").split())
        for child in element:
            self._element(child, kinds)
        canvas.restoreState()

    def _nested(self, element: ET.Element) -> None:
        left, top, wide, high = (float(v) for v in element.get("viewBox", "0 0 1 1").split())
        if element.get("width") is None:  # verovio's inner drawing fills the outer one
            return
        room, deep = _number(element, "width", 1), _number(element, "height", 1)
        size = min(room / wide, deep / high)
        self._canvas.translate(_number(element, "x"), _number(element, "y") + deep - high * size)
        self._canvas.scale(size, size)
        self._canvas.translate(-left, -top)

    def _shape(self, element: ET.Element) -> None:
        canvas, tag = self._canvas, element.tag
        canvas.setLineWidth(_number(element, "stroke-width", 20 if tag == "rect" else 1))
        canvas.setDash(*_dash(element.get("stroke-dasharray", "")))
        canvas.setLineCap({"round": 1, "square": 2}.get(element.get("stroke-linecap", ""), 0))
        canvas.setLineJoin({"round": 1, "bevel": 2}.get(element.get("stroke-linejoin", ""), 0))
        hollow = element.get("fill") == "none" or element.get("fill-opacity") == "0"
        closed = tag in ("polygon", "ellipse", "circle")
        if tag == "rect":
            canvas.rect(*(_number(element, k) for k in ("x", "y", "width", "height")),
                        stroke=1, fill=0 if hollow else 1)
        elif tag in ("ellipse", "circle"):
            x, y, r = (_number(element, k) for k in ("cx", "cy", "r"))
            rx, ry = _number(element, "rx", r), _number(element, "ry", r)
            canvas.ellipse(x - rx, y - ry, x + rx, y + ry, stroke=0, fill=0 if hollow else 1)
        else:
            d = element.get("d") or "M" + element.get("points", "") + ("Z" if closed else "")
            curved = "C" in d or "c" in d  # slurs and braces are filled, lines are drawn
            self._fill(d, stroke=1, fill=1 if (closed or curved) and not hollow else 0)

    def _text(self, element: ET.Element, kinds: frozenset[str]) -> None:
        canvas = self._canvas
        for x, y, anchor, runs in runs_of(element, kinds):
            canvas.saveState()
            canvas.translate(x, y)
            canvas.scale(1, -1)
            draw_runs(canvas, 0.0, 0.0, anchor, runs, self._sign)
            canvas.restoreState()

    def _sign(self, path: str, x: float, y: float, scale: float) -> None:
        self._canvas.saveState()
        self._canvas.translate(x, y)
        self._canvas.scale(scale, scale)
        self._fill(path)
        self._canvas.restoreState()


def _number(element: ET.Element, name: str, otherwise: float = 0) -> float:
    return float(element.get(name, otherwise))


def _dash(text: str) -> tuple[list[float], int]:
    return [float(n) for n in _NUMBER.findall(text)], 0
