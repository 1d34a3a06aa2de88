"""Source bar above draft bar, each pair drawn by itself with its clefs, for the chosen bar."""

from __future__ import annotations

import json
import zlib
from base64 import b64encode
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as ET

from arranger.model.harp import PedalSetting
from arranger.report.engraver import Drawn, as_text, clean, draw_settings, hold_settings
from arranger.report.page_marks import Mark
from arranger.report.page_score import draw_marks
from arranger.report.staff_rests import hold_staves

_OPTIONS = {
    "pageWidth": 3400, "pageHeight": 4000, "adjustPageHeight": True, "adjustPageWidth": True,
    "pageMarginLeft": 30, "pageMarginRight": 30, "pageMarginTop": 40, "pageMarginBottom": 30,
    "header": "none", "footer": "none", "mnumInterval": 0, "breaks": "encoded",
    "minLastJustification": 1.0,
}
_DRAFT = "d-"  # the draft's notes already have their ids on the page: here they get this before


@dataclass(frozen=True, slots=True)
class Paired:
    """Both parts laid in one score, a bar a page, and the draft's settings."""

    xml: str
    settings: tuple[tuple[int, PedalSetting], ...]


def paired(source_xml: bytes, draft_xml: str | bytes) -> Paired | None:
    """Lay both parts in one score to be engraved; None where that cannot be done.

    ``source_xml`` is MusicXML of the arranged part (its notes called ``s-n5``), ``draft_xml`` of
    the draft (``n5``).
    """
    try:
        return Paired(*_combine(ET.fromstring(source_xml), ET.fromstring(draft_xml)))
    except (ET.ParseError, IndexError):
        return None


def asked_of(pairs: Paired) -> tuple[str, Mapping[str, object]]:
    """Return what to ask of the engraver."""
    return pairs.xml, _OPTIONS


def bar_pairs(drawn: Drawn, pairs: Paired, marks: Sequence[Mark],
              glyphs: dict[str, ET.Element]) -> list[str]:
    """Make every bar of both fit for the page, a drawing a bar.

    Parameters
    ----------
    marks
        The marks of the page, drawn here too, on the draft's notes.
    glyphs
        Takes the music signs that are used.

    A note's group has the attribute ``data-note`` with its id, and the class source or draft.

    Raises
    ------
    EngravingError
        They were not drawn.
    """
    by_note: dict[str, list[Mark]] = defaultdict(list)
    for mark in marks:
        by_note[f"{_DRAFT}{mark.note}"].append(Mark(
            mark.note, mark.shape, mark.sign, mark.words, mark.target, "", mark.grave, mark.kind))
    return [_pair(page, pairs.settings, by_note, glyphs) for page in drawn.pages()]


def packed(drawings: Sequence[str]) -> str:
    """Pack drawings for the page's script: JSON, deflated, in base 64."""
    text = json.dumps(drawings, ensure_ascii=False, separators=(",", ":"))
    return b64encode(zlib.compress(text.encode(), 9)).decode()


def _combine(source: ET.Element, draft: ET.Element,
             ) -> tuple[str, tuple[tuple[int, PedalSetting], ...]]:
    """Lay both parts in one score, every bar on a page of its own."""
    above, below = source.findall("part")[-1], draft.findall("part")[-1]
    settings = hold_settings(below)
    root = ET.Element("score-partwise", {"version": "4.0"})
    listed = ET.SubElement(root, "part-list")
    for ident, words, part in (("S", "Source", above), ("D", "Draft", below)):
        entry = ET.SubElement(listed, "score-part", {"id": ident})
        ET.SubElement(entry, "part-name").text = words
        ET.SubElement(entry, "part-abbreviation").text = words
        part.set("id", ident)
        hold_staves(part)
        _separate(part, _DRAFT if ident == "D" else "")
        root.append(part)
    return as_text(root), settings


def _separate(part: ET.Element, before: str) -> None:
    for index, measure in enumerate(part.findall("measure")):
        for layout in measure.findall("print"):
            measure.remove(layout)
        if index:
            measure.insert(0, ET.Element("print", {"new-page": "yes"}))
    for note in part.iter("note"):
        if note.get("id"):
            note.set("id", f"{before}{note.get('id')}")


def _pair(page: ET.Element, settings: Sequence[tuple[int, PedalSetting]],
          by_note: Mapping[str, Sequence[Mark]], glyphs: dict[str, ET.Element]) -> str:
    root = clean(page, glyphs)
    draw_settings(root, settings, glyphs)
    draw_marks(root, by_note)
    for group in root.iter("g"):
        ident = group.attrib.pop("id", "")
        if group.get("class") == "note" and ident[:2] in ("s-", _DRAFT):
            group.set("data-note", ident[2:])
            group.set("class", f"note {'source' if ident[:2] == 's-' else 'draft'}")
    width, height = (float(v) for v in root.get("viewBox", "0 0 1 1").split()[2:])
    root.attrib.update({"class": "engraving", "width": f"{width:g}", "height": f"{height:g}"})
    return as_text(root)
