"""The draft as the page shows it: engraved, with marks, bar anchors and pedal diagrams."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

from arranger.model.harp import PEDALS, PedalSetting
from arranger.report.diagram import setting_svg
from arranger.report.page_marks import Mark

_OPTIONS = {
    "xmlIdSeed": 1,  # the same ids, hence the same bytes, in every run
    "pageWidth": 2000, "pageHeight": 2750, "adjustPageHeight": True,  # about A4 in print
    "header": "none", "footer": "none", "svgViewBox": True, "svgRemoveXlink": True,
    "svgFormatRaw": True, "mnumInterval": 1, "breaks": "auto",
}
_SVG = "{http://www.w3.org/2000/svg}"
_DRAWN = {"svg", "g", "defs", "use", "path", "ellipse", "circle", "line", "polygon", "polyline",
          "rect", "text", "tspan", "title", "a"}
_HEAD = re.compile(r"translate\((-?[\d.]+), (-?[\d.]+)\) scale\((-?[\d.]+)")
_HOLDER = "the harp setting no. "  # words that keep the place of a diagram while verovio lays out
_HELD = re.compile(_HOLDER + r"(\d+)\b")
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
    glyphs: str = ""
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
    measures = parts[-1].findall("measure")
    title = root.findtext("work/work-title") or root.findtext("movement-title") or ""
    settings: list[tuple[int, PedalSetting]] = []
    for index, measure in enumerate(measures, 1):
        for direction_type in measure.iterfind("direction/direction-type"):
            diagram = direction_type.find("harp-pedals")
            if diagram is not None:
                _hold_place(direction_type, diagram, f"{_HOLDER}{len(settings)}")
                settings.append((index, _setting(diagram)))
    return Written(title, tuple(m.get("number", "") for m in measures), tuple(settings),
                   ET.tostring(root, encoding="unicode"))


def _setting(diagram: ET.Element) -> PedalSetting:
    alters = {}
    for tuning in diagram.iterfind("pedal-tuning"):
        step, alter = tuning.findtext("pedal-step", ""), tuning.findtext("pedal-alter", "0")
        if step in PEDALS and alter.strip() in {"-1", "0", "1"}:
            alters[step] = int(alter)
    return PedalSetting.of(alters)


def _hold_place(direction_type: ET.Element, diagram: ET.Element, words: str) -> None:
    """Put words where verovio, which draws no harp-pedals, shall leave room."""
    direction_type.remove(diagram)
    ET.SubElement(direction_type, "words").text = f"{words}\n-"  # two lines, the diagram's height


def engrave(written: Written, marks: Iterable[Mark]) -> Engraving:
    """Engrave the draft with verovio and draw the marks on its notes.

    Never raises for a draft that verovio cannot take: the result then has a ``problem`` in words.
    """
    if not written.xml:
        return Engraving(problem="The draft could not be read, so it is not shown.")
    try:
        import verovio  # 0.05 s, and only the page needs it
    except ImportError:
        return Engraving(problem="The verovio library is not installed, so the score is not shown.")
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions(_OPTIONS)
    if not toolkit.loadData(written.xml) or not toolkit.getPageCount():
        return Engraving(problem="The engraver cannot draw this draft; the lists are complete.")
    drawn = [toolkit.renderToSVG(page) for page in range(1, toolkit.getPageCount() + 1)]
    return _finish(drawn, written, marks)


def _finish(drawn: Sequence[str], written: Written, marks: Iterable[Mark]) -> Engraving:
    by_note: dict[str, list[Mark]] = defaultdict(list)
    for mark in marks:
        by_note[mark.note].append(mark)
    glyphs: dict[str, ET.Element] = {}
    pages, first_bars, marked, font = [], [], set(), ""
    bar = 1
    for number, svg in enumerate(drawn, 1):
        drawing = ET.fromstring(svg)
        font = font or _font(drawing)
        root = _clean(drawing)
        _collect_glyphs(root, glyphs)
        _draw_settings(root, written.settings)
        marked |= _draw_marks(root, by_note)
        first_bars.append(bar)
        bar = _name_bars(root, bar)
        label = f"Score, page {number} of {len(drawn)}"
        root.attrib.update({"class": "engraving", "role": "group", "aria-label": label})
        pages.append(ET.tostring(root, encoding="unicode"))
    defs = "".join(ET.tostring(g, encoding="unicode") for g in glyphs.values())
    return Engraving(tuple(pages), tuple(first_bars), defs, font, frozenset(marked))


def _font(root: ET.Element) -> str:
    """Return the rule by which verovio embeds its music font, or nothing."""
    rules = (style.text or "" for style in root.iter(f"{_SVG}style"))
    return next((r.strip() for r in rules if r.strip().startswith("@font-face")), "")


def _clean(root: ET.Element) -> ET.Element:
    """Keep the shapes only: no style, script or foreign elements, no namespaces."""
    for parent in root.iter():
        for child in list(parent):
            hidden = "placeholder" in child.get("class", "")  # verovio hides these by a style
            if hidden or child.tag.removeprefix(_SVG) not in _DRAWN:
                parent.remove(child)
    for element in root.iter():
        element.tag = element.tag.removeprefix(_SVG)
        for name in [n for n in element.attrib if n.startswith(("{", "on"))]:
            del element.attrib[name]
    root.attrib.pop("id", None)
    return root


def _collect_glyphs(root: ET.Element, glyphs: dict[str, ET.Element]) -> None:
    """Move the glyphs of the music font out: every page repeats them under the same ids."""
    for defs in root.findall("defs"):
        for glyph in defs:
            glyphs.setdefault(glyph.get("id", ""), glyph)
        root.remove(defs)


def _name_bars(root: ET.Element, bar: int) -> int:
    for group in root.iter("g"):
        if group.get("class") == "measure":
            group.set("id", f"bar-{bar}")
            bar += 1
    return bar


def _draw_settings(root: ET.Element, settings: Sequence[tuple[int, PedalSetting]]) -> None:
    for group in root.iter("g"):
        text = group.find("text") if group.get("class") == "dir" else None
        held = None if text is None else _HELD.match("".join(text.itertext()))
        if text is None or held is None:
            continue
        diagram = ET.fromstring(setting_svg(settings[int(held[1])][1]))
        diagram.attrib.update({"x": text.get("x", "0"), "width": "1900", "height": "770",
                               "y": f"{float(text.get('y', '0')) - 320:g}",
                               "preserveAspectRatio": "xMinYMax"})
        group.remove(text)
        group.append(diagram)


def _draw_marks(root: ET.Element, by_note: Mapping[str, Sequence[Mark]]) -> set[str]:
    done = set()
    for group in root.iter("g"):
        marks = by_note.get(group.get("id", ""), ())
        head = group.find("g[@class='notehead']")
        use = None if head is None else head.find("use")
        found = None if use is None else _HEAD.match(use.get("transform", ""))
        if not marks or head is None or use is None or found is None:
            continue
        x, y, scale = (float(v) for v in found.groups())
        wide = use.get("href", "").startswith(tuple(f"#{code}" for code in _WIDE_HEADS))
        middle = x + scale * (211 if wide else 148)
        for mark in marks:
            group.append(_mark(mark, middle, y, scale / 0.72))
            done.add(mark.id)
    return done - {""}


def _mark(mark: Mark, x: float, y: float, size: float) -> ET.Element:
    link = ET.Element("a", {"href": f"#{mark.target}", "aria-label": mark.words,
                            "class": f"mark {mark.shape}{' grave' if mark.grave else ''}"})
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
