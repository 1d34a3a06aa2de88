"""The draft as the page shows it: engraved, with marks, bar anchors and pedal diagrams."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from xml.etree import ElementTree as ET

from arranger.model.harp import PedalSetting
from arranger.report.engraver import (
    Drawn,
    EngravingError,
    as_text,
    clean,
    draw_settings,
    font_rule,
    hold_settings,
)
from arranger.report.page_marks import Mark
from arranger.report.placing_brackets import NAMED_FINGERS, Placed, draw_brackets
from arranger.report.score_names import names_of
from arranger.report.staff_rests import hold_staves

_OPTIONS = {
    "pageWidth": 2000, "pageHeight": 2750, "adjustPageHeight": True,  # about A4 in print
    "header": "none", "footer": "none", "mnumInterval": 1, "breaks": "auto",
    "spacingSystem": 7,  # for a second row of pedals
    **NAMED_FINGERS,
}
_NARROW = {"pageWidth": 1050, "pageMarginLeft": 10, "pageMarginRight": 10}  # on a telephone
_HEAD = re.compile(r"translate\((-?[\d.]+),(-?[\d.]+)\) scale\((-?[\d.]+)")
_LINE = re.compile(r"M(-?[\d.]+) (-?[\d.]+) L(-?[\d.]+)")
_WIDE_HEADS = ("E0A0", "E0A1", "E0A2")  # SMuFL: double whole and whole noteheads


@dataclass(frozen=True, slots=True)
class Written:
    """What the page needs of the draft's MusicXML: title, bar numbers, printed settings.

    ``settings`` holds (bar index from 1, setting) for every ``<harp-pedals>``.
    """

    title: str = ""
    bars: tuple[str, ...] = ()
    settings: tuple[tuple[int, PedalSetting], ...] = ()
    xml: str = ""


@dataclass(frozen=True, slots=True)
class Engraving:
    """Pages as SVG text, the first bar index of each, the ids of the marks that were drawn.

    ``glyphs`` holds the music signs all pages use, ``font`` the style rule with the music font
    for tempo marks (59 kB, only where there are any).
    """

    pages: tuple[str, ...] = ()
    first_bars: tuple[int, ...] = ()
    glyphs: Mapping[str, ET.Element] = field(default_factory=dict)
    font: str = ""
    marked: frozenset[str] = frozenset()
    problem: str = ""


def read_written(draft_xml: bytes) -> Written:
    """Read title, bar numbers and pedal diagrams; an unreadable draft gives an empty value."""
    try:
        root = ET.fromstring(draft_xml)
    except ET.ParseError:
        return Written()
    parts = root.findall("part")
    if not parts:
        return Written()
    title = names_of(root)[0].title
    settings = hold_settings(parts[-1])
    for part in parts:
        hold_staves(part)
    bars = tuple(m.get("number", "") for m in parts[-1].findall("measure"))
    return Written(title, bars, settings, as_text(root))


def asked_of(written: Written, narrow: bool = False) -> tuple[str, Mapping[str, object]]:
    """Return what to ask of the engraver, ``narrow`` for a telephone."""
    return written.xml, {**_OPTIONS, **(_NARROW if narrow else {})}


def finished(drawn: Drawn, written: Written, marks: Iterable[Mark],
             groups: Sequence[Placed] = ()) -> Engraving:
    """Make the draft as it was drawn fit for the page, with marks on notes, brackets over groups.

    Never raises for a draft that cannot be drawn: the result then has a ``problem`` in words.
    """
    try:
        return _finish(drawn, written, marks, groups)
    except EngravingError as error:
        return Engraving(problem=str(error))


def _finish(drawn: Drawn, written: Written, marks: Iterable[Mark],
            groups: Sequence[Placed]) -> Engraving:
    by_note: dict[str, list[Mark]] = defaultdict(list)
    for mark in marks:
        by_note[mark.note].append(mark)
    glyphs: dict[str, ET.Element] = {}
    pages, first_bars, marked, font = [], [], set(), ""
    bar = 1
    for number, drawing in enumerate(drawn.pages(), 1):
        font = font or font_rule(drawing)
        root = clean(drawing, glyphs)
        draw_brackets(root, groups)
        draw_settings(root, written.settings, glyphs)
        marked |= draw_marks(root, by_note)
        first_bars.append(bar)
        bar = _name_bars(root, bar)
        label = f"Score, page {number} of {len(drawn.svgs)}"
        root.attrib.update({"class": "engraving", "role": "group", "aria-label": label})
        pages.append(as_text(root))
    return Engraving(tuple(pages), tuple(first_bars), glyphs, font, frozenset(marked))


def _name_bars(root: ET.Element, bar: int) -> int:
    for group in root.iter("g"):
        if group.get("class") == "measure":
            group.set("id", f"bar-{bar}")
            _lay_field(group)
            bar += 1
    return bar


def _lay_field(measure: ET.Element) -> None:
    """Lay a field under a bar, to be clicked on and to be shaded when the bar is chosen."""
    lines = [found for path in measure.iterfind("g[@class='staff']/path")
             if (found := _LINE.match(path.get("d", "")))]
    if lines:
        heights = [float(line[2]) for line in lines]
        left, right = float(lines[0][1]), float(lines[0][3])
        top, low = min(heights) - 360, max(heights) + 360
        measure.insert(0, ET.Element("rect", {
            "class": "field", "x": f"{left:g}", "y": f"{top:g}", "width": f"{right - left:g}",
            "height": f"{low - top:g}"}))


def draw_marks(root: ET.Element, by_note: Mapping[str, Sequence[Mark]]) -> set[str]:
    """Draw the marks round the heads of their notes; return the ids of those that were drawn."""
    done = set()
    for group in root.iter("g"):
        marks = by_note.get(group.get("id", ""), ())
        head = group.find("g[@class='notehead']")
        use = None if head is None else head.find("use")
        found = None if use is None else _HEAD.match(use.get("transform", ""))
        if not marks or head is None or use is None or found is None:
            continue
        x, y, scale = (float(v) for v in found.groups())
        wide = use.get("href", "").startswith(tuple(f"#g-{code}" for code in _WIDE_HEADS))
        middle = x + scale * (211 if wide else 148)
        for mark in marks:
            group.append(_mark(mark, middle, y, scale / 0.72))
            done.add(mark.id)
    return done - {""}


def _mark(mark: Mark, x: float, y: float, size: float) -> ET.Element:
    link = ET.Element("a", {"href": f"#{mark.target}", "aria-label": mark.words,
                            "class": f"mark {mark.shape}{' grave' if mark.grave else ''}",
                            "data-kind": mark.kind})
    if mark.id:
        link.set("id", mark.id)
    ET.SubElement(link, "title").text = mark.words
    ET.SubElement(link, "path", {"d": "".join(_outline(mark.shape, x, y, size))})
    if mark.sign:
        right = mark.shape == "lozenge"
        sign = ET.SubElement(link, "text", {
            "x": f"{x + (210 if right else -210) * size:.0f}", "y": f"{y - 170 * size:.0f}",
            "text-anchor": "start" if right else "end", "font-size": f"{300 * size:.0f}px"})
        sign.text = mark.sign
    return link


def _outline(shape: str, x: float, y: float, size: float) -> Iterator[str]:
    """Draw the mark's outline round a notehead at (x, y), in verovio's units."""
    if shape == "ring":
        w, h = 215 * size, 175 * size
        yield f"M{x - w:.0f} {y:.0f}a{w:.0f} {h:.0f} 0 1 0 {2 * w:.0f} 0"
        yield f"a{w:.0f} {h:.0f} 0 1 0 {-2 * w:.0f} 0z"
    elif shape == "box":
        w, h = 180 * size, 140 * size
        yield f"M{x - w:.0f} {y - h:.0f}h{2 * w:.0f}v{2 * h:.0f}h{-2 * w:.0f}z"
    elif shape == "lozenge":
        w, h = 300 * size, 255 * size
        yield f"M{x - w:.0f} {y:.0f}l{w:.0f} {-h:.0f}l{w:.0f} {h:.0f}l{-w:.0f} {h:.0f}z"
    else:
        w, h = 130 * size, 220 * size
        yield f"M{x - w:.0f} {y + 120 * size + h:.0f}l{w:.0f} {-h:.0f}l{w:.0f} {h:.0f}"
