"""Verovio's drawings made fit for a page: shapes only, short names, pedal diagrams in place."""

from __future__ import annotations

import contextlib
import json
import re
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree as ET

from arranger.model.errors import ArrangerError
from arranger.model.harp import PEDALS, PedalSetting
from arranger.report.diagram import setting_svg
from arranger.report.note_words import show_notes
from arranger.report.pedal_rows import draw_pedals, hold_pedals, said_pedals

_SVG = "{http://www.w3.org/2000/svg}"
_DRAWN = {"svg", "g", "defs", "use", "path", "ellipse", "circle", "line", "polygon", "polyline",
          "rect", "text", "tspan", "title", "a"}
_HOLDER = "the harp setting no. "  # words that keep the place of a diagram while verovio lays out
_HELD = re.compile(_HOLDER + r"(\d+)\b")
_ALTERED = {"-1": "♭", "0": "♮", "1": "♯"}
#: Seconds of processor time a score may take to engrave, and bytes that allow it one more: verovio
#: takes 0.13 s for 70 kB (measured).
LEAST, BYTES_A_SECOND = 10, 50_000
_GIVEN_UP = ("The engraver gave up on this score, a fault of the engraving library; the draft and "
             "the lists are complete.")
_SEED = re.compile(r"#(\w+)-\w+$")
#: Groups that keep their ids, and those that keep their class; the rest of them serves nothing.
_NAMED = ("note", "measure")
_CLASSED = {*_NAMED, "system", "notehead", "staff", "clef", "dir", "dynam", "tempo", "reh", "verse",
            "ending", "mNum", "definition-scale"}


class EngravingError(ArrangerError):
    """The score cannot be drawn; the text says why, for the reader of the page."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """What became of a score: its pages as SVG text, or the ``problem`` in words."""

    svgs: tuple[str, ...] = ()
    problem: str = ""

    def pages(self) -> Iterator[ET.Element]:
        """Yield the pages, parsed one by one.

        Raises
        ------
        EngravingError
            There are none.
        """
        if self.problem:
            raise EngravingError(self.problem)
        return map(ET.fromstring, self.svgs)


def engraved(*asked: tuple[str, Mapping[str, object]]) -> list[Drawn]:
    """Engrave scores (MusicXML, verovio's options) side by side, each in a process of its own.

    A process that ends early or takes too long leaves a ``problem``; nothing else is lost.
    """
    processes: list[subprocess.Popen[bytes]] = []
    try:
        for xml, _ in asked:
            processes.append(_start(LEAST + len(xml) // BYTES_A_SECOND))
        for process, (xml, options) in zip(processes, asked, strict=True):
            assert process.stdin is not None
            with contextlib.suppress(BrokenPipeError):  # no answer will tell
                process.stdin.write(json.dumps({"xml": xml, "options": options}).encode())
                process.stdin.close()
        return [_answer(process) for process in processes]
    finally:
        for process in processes:
            process.kill()
            process.wait()
            for pipe in (process.stdin, process.stdout):
                with contextlib.suppress(OSError):
                    if pipe is not None:
                        pipe.close()


def _start(seconds: int) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "arranger.report.verovio_process", str(seconds)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        cwd=Path(__file__).resolve().parents[2])


def _answer(process: subprocess.Popen[bytes]) -> Drawn:
    assert process.stdout is not None
    try:
        answer = json.loads(process.stdout.read())
    except ValueError:  # it ended before it had answered
        return Drawn(problem=_GIVEN_UP)
    return Drawn(tuple(answer.get("pages", ())), answer.get("problem", ""))


def font_rule(root: ET.Element) -> str:
    """Return the rule by which verovio embeds its music font, or nothing."""
    rules = (style.text or "" for style in root.iter(f"{_SVG}style"))
    return next((r.strip() for r in rules if r.strip().startswith("@font-face")), "")


def clean(root: ET.Element, glyphs: dict[str, ET.Element]) -> ET.Element:
    """Keep the shapes only, without namespaces, and move the music signs to ``glyphs``.

    Every page repeats the signs it uses; here a sign is called ``g-E0A4`` by its SMuFL code.
    """
    for parent in root.iter():
        for child in list(parent):
            hidden = "placeholder" in child.get("class", "")  # verovio hides these by a style
            if hidden or child.tag.removeprefix(_SVG) not in _DRAWN:
                parent.remove(child)
    for element in root.iter():
        element.tag = element.tag.removeprefix(_SVG)
        for name in [n for n in element.attrib if n.startswith(("{", "on"))]:
            del element.attrib[name]
        if element.tag == "use":
            element.set("href", _SEED.sub(r"#g-\1", element.get("href", "")))
    for defs in root.findall("defs"):
        for glyph in defs:
            name = f"g-{glyph.get('id', '').partition('-')[0]}"
            glyph.set("id", name)
            glyphs.setdefault(name, glyph)
        root.remove(defs)
    for element in root.iter():
        kind = element.get("class", "").partition(" ")[0]
        if kind not in _NAMED:
            element.attrib.pop("id", None)
        if kind not in _CLASSED:
            element.attrib.pop("class", None)
        if "transform" in element.attrib:
            element.set("transform", element.get("transform", "").replace(", ", ","))
        if kind == "tempo":
            _part_words_and_note(element)
    return root


#: Room between words and the note of a tempo, in verovio's units.
_APART = "130"


def _part_words_and_note(tempo: ET.Element) -> None:
    """Set the note of a tempo off from the words before it: verovio leaves no room."""
    said = ""
    for run in tempo.iter("tspan"):
        if run.get("font-family") and said.strip():
            run.set("dx", _APART)
        said += run.text or ""


def hold_settings(part: ET.Element) -> tuple[tuple[int, PedalSetting], ...]:
    """Put words where verovio, which draws no harp-pedals, shall leave room for the diagrams.

    Returns (bar index from 1, setting) for every ``<harp-pedals>`` of the part.
    """
    settings: list[tuple[int, PedalSetting]] = []
    for index, measure in enumerate(part.findall("measure"), 1):
        _drop_shown(measure)
        for direction_type in measure.iterfind("direction/direction-type"):
            diagram = direction_type.find("harp-pedals")
            if diagram is not None:
                direction_type.remove(diagram)
                words = ET.SubElement(direction_type, "words")
                words.text = f"{_HOLDER}{len(settings)}\n-"  # two lines, the diagram's height
                settings.append((index, _setting(diagram)))
        for direction in measure.iterfind("direction"):
            hold_pedals(direction)
            show_notes(direction)
    return tuple(settings)


def _drop_shown(measure: ET.Element) -> None:
    """Take out the pedal words that say what a diagram at the same place shows.

    A move of two notches keeps its box: what is unusual about it no diagram tells.
    """
    found: dict[tuple[int, str], list[ET.Element]] = {}
    begun = 0  # notes and steps so far: what has as many before it stands at one place
    for child in measure:
        begun += child.tag in ("note", "backup", "forward")
        if child.tag == "direction":
            found.setdefault((begun, child.findtext("offset", "0").strip()), []).append(child)
    for directions in found.values():
        shown = {f"{tuning.findtext('pedal-step', '').strip()}"
                 f"{_ALTERED.get(tuning.findtext('pedal-alter', '').strip())}"
                 for direction in directions
                 for tuning in direction.iterfind("direction-type/harp-pedals/pedal-tuning")}
        for direction in directions if shown else ():
            said = [word.strip("[]") for word in said_pedals(direction)]
            boxed = direction.find("direction-type/words[@enclosure]") is not None
            if said and set(said) <= shown and not boxed:
                measure.remove(direction)


def _setting(diagram: ET.Element) -> PedalSetting:
    alters = {}
    for tuning in diagram.iterfind("pedal-tuning"):
        step, alter = tuning.findtext("pedal-step", ""), tuning.findtext("pedal-alter", "0")
        if step in PEDALS and alter.strip() in {"-1", "0", "1"}:
            alters[step] = int(alter)
    return PedalSetting.of(alters)


def draw_settings(root: ET.Element, settings: Sequence[tuple[int, PedalSetting]],
                  glyphs: Mapping[str, ET.Element]) -> None:
    """Put diagrams and pedal words into a cleaned page, where places were held for them."""
    for group in root.iter("g"):
        text = group.find("text") if group.get("class") == "dir" else None
        if text is None:
            continue
        held = _HELD.match("".join(text.itertext()))
        if held is None:
            continue
        diagram = ET.fromstring(setting_svg(settings[int(held[1])][1]))
        diagram.attrib.update({"x": text.get("x", "0"), "width": "1900", "height": "770",
                               "y": f"{float(text.get('y', '0')) - 320:g}",
                               "preserveAspectRatio": "xMinYMax"})
        group.remove(text)
        group.append(diagram)
    draw_pedals(root, glyphs)


def as_text(element: ET.Element) -> str:
    """Serialise a drawing."""
    return ET.tostring(element, encoding="unicode")
