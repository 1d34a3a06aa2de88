"""Text in a printed part: an embedded serif for words, the music font's shapes for its signs."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

#: Source Serif Pro (SIL Open Font License), from the package font-source-serif-pro.
_FONTS = {(False, False): "Regular", (False, True): "It",
          (True, False): "Semibold", (True, True): "SemiboldIt"}
#: Verovio lays out words by the widths of Times; this serif is wider by so much, in words sung,
#: which leave each other no room to spare, by their small letters.
FITTED, SUNG = 0.93, 0.86
_ACCIDENTALS = {"♭": 0xE260, "♮": 0xE261, "♯": 0xE262}  # text signs -> SMuFL
_NOTES = {"♩": 0xECA5, "♪": 0xECA7, "\U0001d15d": 0xECA2, "\U0001d15e": 0xECA3,
          "\U0001d161": 0xECA9, "\U0001d162": 0xECAB}
#: Accidentals of chord symbols and of figures, which verovio writes as signs of the music font.
_OF_CHORDS = frozenset((*range(0xE260, 0xE265), *range(0xEA63, 0xEA68), *range(0xED60, 0xED67)))
_DRAWN = "".join(("\ue000-\uf8ff", *_ACCIDENTALS, *_NOTES))  # by the music font
_EM = 1000  # units of the music font
_RAISED = 0.31  # accidentals stand with their middle on the line of writing: raised by so many ems
_APART = 0.3  # a note among words, as in a tempo, stands off by so many ems
_BOLD, _ITALIC = {"tempo", "reh", "ending"}, {"dynam"}


@dataclass(frozen=True, slots=True)
class Run:
    """A stretch of text of one kind; ``size`` in the units of the drawing."""

    text: str
    size: float
    bold: bool = False
    italic: bool = False
    fitted: float = FITTED


@cache
def font_name(bold: bool, italic: bool) -> str:
    """Register a face of the text font with reportlab and return its name."""
    from reportlab.pdfbase.pdfmetrics import registerFont
    from reportlab.pdfbase.ttfonts import TTFont
    spec = find_spec("font_source_serif_pro")
    folder = Path(next(iter(spec.submodule_search_locations or ()))) if spec else Path()
    name = f"SourceSerifPro-{_FONTS[bold, italic]}"
    registerFont(TTFont(name, str(folder / "files" / f"{name}.ttf")))
    return name


@cache
def sign(code: int) -> tuple[str, float]:
    """Outline (SVG path, y upwards) and advance of a sign of the music font, in its units."""
    spec = find_spec("verovio")
    folder = Path(next(iter(spec.submodule_search_locations or ()))) / "data" if spec else Path()
    drawn = folder / "Leipzig" / f"{code:04X}.xml"
    if not drawn.exists():
        return "", 0.0
    path = ET.fromstring(drawn.read_bytes()).find("path")
    box = re.search(rf'c="{code:04X}"[^>]*?h-a-x="([\d.]+)"', _boxes(folder))
    return ("" if path is None else path.get("d", "")), float(box[1]) if box else 0.0


@cache
def _boxes(folder: Path) -> str:
    return (folder / "Leipzig.xml").read_text("utf-8")


def music_code(letter: str) -> int:
    """SMuFL code of a sign that the music font draws; 0 for a letter of the text font."""
    code = _ACCIDENTALS.get(letter) or _NOTES.get(letter, ord(letter))
    return code if 0xE000 <= code <= 0xF8FF else 0


def width(run: Run) -> float:
    """Width of a run in the units of its size."""
    from reportlab.pdfbase.pdfmetrics import stringWidth
    plain = "".join(c for c in run.text if not music_code(c))
    signs = sum(sign(music_code(c))[1] for c in run.text if music_code(c))
    wide = stringWidth(plain, font_name(run.bold, run.italic), run.size * run.fitted)
    return float(wide) + signs * run.size / _EM


def runs_of(text: ET.Element, kinds: frozenset[str]) -> list[tuple[float, float, str, list[Run]]]:
    """Split an SVG text into lines: (x, y, anchor, runs); ``kinds`` are the classes around it."""
    lines: list[tuple[float, float, str, list[Run]]] = []
    start = Run("", 0.0, bool(kinds & _BOLD), bool(kinds & _ITALIC),
                SUNG if "verse" in kinds else FITTED)
    _walk(text, start, (float(text.get("x", "0")), float(text.get("y", "0"))),
          text.get("text-anchor", "start"), lines)
    return [line for line in lines if any(run.text.strip() for run in line[3])]


def _walk(element: ET.Element, style: Run, at: tuple[float, float], anchor: str,
          lines: list[tuple[float, float, str, list[Run]]]) -> tuple[float, float]:
    size = element.get("font-size", "")
    style = replace(
        style, size=float(size.removesuffix("px")) if size else style.size,
        bold=_told(element, "font-weight", "bold", style.bold),
        italic=_told(element, "font-style", "italic", style.italic))
    anchor = element.get("text-anchor", anchor)
    moved = (float(element.get("x", at[0])),
             float(element.get("y", at[1])) + float(element.get("dy", "0").removesuffix("px")))
    if moved != at or not lines:
        lines.append((*moved, anchor, []))
    if element.text and style.size:
        signs = element.get("font-family") is not None  # of the music font: these stand close
        text = element.text.replace(" ", "") if signs else element.text
        lines[-1][3].append(replace(style, text=text))
    for child in element:
        moved = _walk(child, style, moved, anchor, lines)
    return moved


def _told(element: ET.Element, name: str, word: str, otherwise: bool) -> bool:
    value = element.get(name)
    return otherwise if value is None else value == word


def draw_runs(canvas: Any, x: float, y: float, anchor: str, runs: list[Run], path: Any) -> None:
    """Draw one line of text at (x, y) of a canvas whose y runs upwards.

    ``path`` draws an SVG path of the music font at (x, y) in a given scale.
    """
    whole = sum(width(run) for run in runs)
    x -= {"middle": whole / 2, "end": whole}.get(anchor, 0.0)
    begun = False
    for run in runs:
        for piece in re.findall(f"[{_DRAWN}]|[^{_DRAWN}]+", run.text):
            code = music_code(piece[0])
            if code:
                close = piece in _ACCIDENTALS or code in _OF_CHORDS
                x += _APART * run.size if begun and not close else 0.0
                raised = _RAISED * run.size if piece in _ACCIDENTALS else 0.0
                path(sign(code)[0], x, y + raised, run.size / _EM)
            else:
                canvas.setFont(font_name(run.bold, run.italic), run.size * run.fitted)
                canvas.drawString(x, y, piece)
            x += width(replace(run, text=piece))
            begun = not code
