"""The part as a PDF: A4, the head with the title, the standing pedals on every page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from io import BytesIO
from typing import Any
from xml.etree import ElementTree as ET

from arranger.model.harp import PedalSetting
from arranger.report.diagram import setting_svg
from arranger.report.for_all import bare, said
from arranger.report.page_lists import bar_index
from arranger.report.part_pages import Line, best_pages, free_hands, part_lines
from arranger.report.pdf_drawing import Drawing
from arranger.report.pdf_text import font_name
from arranger.report.placing_brackets import placed_together
from arranger.report.score_names import names_of
from arranger.report.wording import plain
from arranger.rulebook.score_words import Heading

_MM = 72 / 25.4
_WIDE, _HIGH = 210.0, 297.0  # A4, millimetres, as all below
_SIDE, _TOP, _FOOT = 15.0, 14.0, 13.0
_HEAD, _HEAD_LATER = 27.0, 12.0  # room above the music on the first page and on the others
_LAST_GAP, _MOST_GAP = 10.0, 20.0  # most between two lines: on the last page, on the others
_DIAGRAM = 19.0  # width of a pedal diagram


def part_pdf(report: Mapping[str, Any], draft_xml: bytes) -> bytes:
    """Return the harp part for the stand; the same input gives the same bytes.

    Raises
    ------
    EngravingError
        Verovio is not installed or refuses the score.
    """
    from reportlab.pdfgen.canvas import Canvas  # 0.15 s, and only printing needs it
    glyphs: dict[str, ET.Element] = {}
    ways = part_lines(draft_xml, glyphs, placed_together(report["notes"]))
    names, author = _names(draft_xml, report)
    title = names.title
    later = _HIGH - _TOP - _FOOT - _HEAD_LATER
    first = later + _HEAD_LATER - _HEAD
    pages, scale = best_pages(ways, free_hands(report), first * 10, later * 10)
    out = BytesIO()
    canvas = Canvas(out, pagesize=(_WIDE * _MM, _HIGH * _MM), invariant=1, pageCompression=1,
                    initialFontName=font_name(False, False))
    canvas.setTitle(f"{title}: harp")
    canvas.setAuthor(author)
    canvas.setCreator("arranger")
    pen = Drawing(canvas, glyphs)
    for number, page in enumerate(pages, 1):
        if number == 1:
            _title(canvas, names, author)
        else:
            _running_head(canvas, pen, report, page[0].first, title)
        _music(pen, page, first if number == 1 else later, scale, number == len(pages))
        _centred(canvas, f"{number} / {len(pages)}" if len(pages) > 1 else "", _FOOT - 5, 9)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _names(draft_xml: bytes, report: Mapping[str, Any]) -> tuple[Heading, str]:
    """Return heading and composer; a score without a title has the name of its file.

    A tempo that heads the piece and stands over its first bar as well is printed there alone.
    """
    root = ET.fromstring(draft_xml)
    found, author = names_of(root)
    file = report["source"]["file"]
    title = found.title or file.rpartition(".")[0] or file
    below = "" if _opens_with(root, found.below) else found.below
    return (Heading(*(plain(text).strip() for text in (title, found.above, below))),
            plain(author).strip())


def _opens_with(root: ET.Element, text: str) -> bool:
    """Tell whether the first bar of a part has a direction that begins with these words."""
    wanted = bare(text)
    return any(tag == "words" and told.startswith(wanted)
               for part in root.iterfind("part") for direction in part.iterfind(
                   "measure[1]/direction") for tag, told in said(direction))


def _title(canvas: Any, names: Heading, author: str) -> None:
    for words, y, largest in ((names.above, 0.5, 11.0), (names.title, -8.0, 20.0),
                              (names.below, -14.0, 11.0)):
        size = largest
        while size > 7 and canvas.stringWidth(words, font_name(False, False), size) > 170 * _MM:
            size -= 1
        _centred(canvas, words, _HIGH - _TOP + y, size)
    y = (_HIGH - _TOP - 17) * _MM
    canvas.setFont(font_name(False, True), 12)
    canvas.drawString(_SIDE * _MM, y, "Harp")
    canvas.setFont(font_name(False, False), 11)
    canvas.drawRightString((_WIDE - _SIDE) * _MM, y, author[:80])


def _centred(canvas: Any, words: str, y: float, size: float) -> None:
    canvas.setFont(font_name(False, False), size)
    canvas.drawCentredString(_WIDE / 2 * _MM, y * _MM, words)


def _running_head(canvas: Any, pen: Drawing, report: Mapping[str, Any], bar: int,
                  title: str) -> None:
    """Put the title and the setting in force at the page's first bar over the music."""
    canvas.setFont(font_name(False, True), 9)
    canvas.drawRightString((_WIDE - _SIDE) * _MM, (_HIGH - _TOP - 3) * _MM, f"Harp: {title}"[:90])
    setting = _setting_at(report, bar)
    if setting is not None:
        drawing = ET.fromstring(setting_svg(setting))
        scale = _DIAGRAM * _MM / float(drawing.get("viewBox", "0 0 78 32").split()[2])
        pen.draw(drawing, _SIDE * _MM, (_HIGH - _TOP + 1) * _MM, scale)


def _setting_at(report: Mapping[str, Any], bar: int) -> PedalSetting | None:
    pedals = report.get("pedals")
    if not pedals:
        return None
    setting = PedalSetting.of(pedals["opening"])
    numbers = tuple(b["bar"] for b in report.get("bars", ()))
    for move in pedals["moves"]:
        if bar_index(move, numbers) < bar:
            setting = setting.with_pedal(move["pedal"], move["to"])
    return setting


def _music(pen: Drawing, page: Sequence[Line], room: float, scale: float, last: bool) -> None:
    """Spread the lines of a page over the room (millimetres) that ends at the foot."""
    used = scale * sum(line.height for line in page) / 10
    gaps = len(page) - 1
    spread = (room - used) / gaps if gaps else 0.0
    gap = min(spread, _LAST_GAP if last else _MOST_GAP)
    x, y = _SIDE + (1 - scale) * (_WIDE / 2 - _SIDE), _FOOT + room
    for line in page:
        # verovio's inner drawing counts in hundredths of a millimetre
        pen.draw(line.drawing, x * _MM, y * _MM, scale * _MM / 100)
        y -= scale * line.height / 10 + gap
