"""Several parts, or one of another number of staves, laid on the two staves of a harp."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from copy import deepcopy
from dataclasses import dataclass, field

from lxml import etree

from arranger.io.harp_signs import join_signs
from arranger.io.tune_levels import keep_tune_levels
from arranger.io.write_divisions import (
    Ticks,
    common_divisions,
    length,
    number,
    set_divisions,
    step,
)
from arranger.io.write_events import pitch_of, runs
from arranger.io.write_order import detach, drop, element, forget, put, set_text
from arranger.io.write_rests import hide_spare_rests

_SPANNERS = ("slur", "wedge", "dashes", "bracket", "octave-shift", "glissando", "slide",
             "wavy-line")
_HIGHEST_NUMBER = 16  # MusicXML 4.0, number-level


def staff_count(part: etree._Element) -> int:
    """Return the number of staves, from ``<staves>`` and from the notes themselves."""
    stated = max((int(s.text or 1) for s in part.iter("staves")), default=1)
    return max(stated, max((int(s.text or 1) for s in part.iterfind("measure/note/staff")),
                           default=1))


@dataclass(slots=True)
class _Layout:
    """Where source staves go, and the numbers given to voices and spanners so far."""

    counts: tuple[int, ...]
    voices: dict[tuple[int, str, str], str] = field(default_factory=dict)

    @property
    def total(self) -> int:
        return sum(self.counts)

    def place(self, part: int, staff: int) -> int:
        """Number of a source staff among all staves, from 0."""
        return sum(self.counts[:part]) + staff - 1

    def target(self, part: int, staff: int) -> int:
        """Staff of the harp: of one part all but the lowest are upper, of several the half."""
        upper = max(1, self.total - 1) if len(self.counts) == 1 else (self.total + 1) // 2
        return 1 if self.place(part, staff) < upper else 2

    def gives_clef(self, part: int, staff: int) -> bool:
        """The outer staves give the clefs."""
        return self.place(part, staff) in (0, self.total - 1)

    def voice(self, part: int, voice: str, staff: str) -> str:
        """Voice number that is this source voice's alone."""
        return self.voices.setdefault((part, voice, staff), str(len(self.voices) + 1))


def combine(parts: list[etree._Element], players: bool = True,
            tune: Collection[str] = ()) -> etree._Element:
    """Return one two-staff part with the content of all; measures are aligned by index.

    The parts are at concert pitch. Key, time and barlines come from the first; stems, which
    stood for single voices, are left to the engraver. Several parts are those of as many
    ``players`` unless they are one harp's; ``tune``: ids of those that are said to hold it.
    """
    counts = tuple(staff_count(part) for part in parts)
    if counts == (2,):
        _number_voices(parts[0])
        for measure in parts[0].findall("measure"):
            hide_spare_rests(measure)
        return parts[0]
    divisions = common_divisions(parts)
    for part in parts:
        set_divisions(part, divisions)
    if players and len(parts) > 1:
        keep_tune_levels(parts, tune)
    layout = _Layout(counts)
    _spread_numbers(parts)
    joined, *others = parts
    for index, measure in enumerate(joined.findall("measure")):
        _lay(measure, 0, layout)
        for at, part in enumerate(others, start=1):
            measures = part.findall("measure")
            if index < len(measures):
                _append(measure, measures[index], at, layout)
        hide_spare_rests(measure)
    if others:
        join_signs(joined)
        for note in joined.iterfind("measure/note"):
            drop(note, "stem")
    _state_two_staves(joined, layout)
    if layout.total == 1:
        _fill_lower_staff(joined, layout)
    return joined


def _number_voices(part: etree._Element) -> None:
    """Give each voice a number of its own where one number serves both staves, or is no number.

    Voice 0, or voice 1 on either staff, is read as one voice by some engravers. The higher voice
    of a staff comes first: it is the one whose stems go up.
    """
    measures = [list(runs(measure)) for measure in part.findall("measure")]
    clash = False
    for found in measures:
        homes: dict[str, set[str]] = {}
        for run in found:
            for voice, staff in _homes(run).items():
                clash |= not voice.isdigit() or voice == "0"
                homes.setdefault(voice, set()).add(staff)
        clash |= any(len(staves) > 1 for staves in homes.values())
    if not clash:
        return
    placed: dict[tuple[str, str], list[etree._Element]] = {}
    for run in (run for found in measures for run in found):
        here = _homes(run)
        for note in run:
            voice = note.findtext("voice") or "1"
            placed.setdefault((here[voice], voice), []).append(note)
    ranked = sorted(placed, key=lambda place: (place[0], -_height(placed[place])))
    for rank, place in enumerate(ranked, start=1):
        for note in placed[place]:
            set_text(note, "voice", str(rank))
    for child in part.iterfind("measure/*"):
        if child.tag != "note":
            drop(child, "voice")


def _height(notes: list[etree._Element]) -> float:
    """Mean diatonic place of the notes; a voice of rests is below all others."""
    places = [pitch.position for note in notes if (pitch := pitch_of(note)) is not None]
    return sum(places) / len(places) if places else -1.0


def _homes(run: list[etree._Element]) -> dict[str, str]:
    """Return for each voice of a run the staff on which it begins."""
    homes: dict[str, str] = {}
    for note in run:
        homes.setdefault(note.findtext("voice") or "1", note.findtext("staff") or "1")
    return homes


def _spread_numbers(parts: list[etree._Element]) -> None:
    """Give the slurs and wedges of each part numbers of their own."""
    used = 0
    for part in parts:
        signs = list(part.iter(*_SPANNERS))
        for sign in signs:
            mine = int(sign.get("number", "1")) + used
            if used:
                sign.set("number", str((mine - 1) % _HIGHEST_NUMBER + 1))
        used = max((int(s.get("number", "1")) for s in signs), default=used)


def _lay(measure: etree._Element, part: int, layout: _Layout) -> None:
    """Number staves and voices of a measure as the harp part has them."""
    for run in runs(measure):
        homes = _homes(run)
        for note in run:
            voice, staff = note.findtext("voice") or "1", note.findtext("staff") or "1"
            set_text(note, "voice", layout.voice(part, voice, homes[voice]))
            set_text(note, "staff", str(layout.target(part, int(staff))))
            drop(note, "instrument")
    for child in measure:
        if child.tag in ("direction", "forward", "harmony", "figured-bass"):
            drop(child, "voice")
            stated = child.find("staff")
            if stated is not None:
                stated.text = str(layout.target(part, int(stated.text or 1)))
            elif part and child.tag == "direction":
                put(child, element("staff", str(layout.target(part, 1))))
    for attributes in measure.findall("attributes"):
        _lay_attributes(attributes, part, layout)


def _lay_attributes(attributes: etree._Element, part: int, layout: _Layout) -> None:
    drop(attributes, "staves", "part-symbol", "instruments", "staff-details", "measure-style")
    if part:
        drop(attributes, "divisions", "key", "time", "footnote", "level", "directive")
    for tag in ("key", "time"):
        for extra in attributes.findall(tag):
            if extra.get("number", "1") != "1":
                attributes.remove(extra)
            forget(extra, "number")
    for clef in attributes.findall("clef"):
        staff = int(clef.get("number", "1"))
        if layout.gives_clef(part, staff):
            clef.set("number", str(layout.target(part, staff)))
        else:
            attributes.remove(clef)
    if len(attributes) == 0:
        detach(attributes)


def _append(measure: etree._Element, other: etree._Element, part: int, layout: _Layout) -> None:
    """Add the content of another part's measure behind what the measure holds."""
    _lay(other, part, layout)
    ending = [b for b in measure.findall("barline") if b.get("location", "right") == "right"]
    for barline in ending:
        measure.remove(barline)
    back, _ = length(measure)
    if back:
        backup = etree.SubElement(measure, "backup")
        backup.append(element("duration", number(back)))
    known = set(_directions(measure))
    for child, key in zip(list(other), _keys(other), strict=True):
        if child.tag in ("barline", "print") or (key and key in known):
            continue
        measure.append(child)
    measure.extend(ending)


def _keys(measure: etree._Element) -> list[tuple[Ticks, str, bytes] | None]:
    """For each child: place, staff and content if it is a direction or sound, else None."""
    keys: list[tuple[Ticks, str, bytes] | None] = []
    at: Ticks = 0
    for child in measure:
        content = b""
        if child.tag == "direction":
            content = b"".join(_content(kind) for kind in child.findall("direction-type"))
        elif child.tag == "sound":
            content = _content(child)
        keys.append((at, child.findtext("staff") or "1", content) if content else None)
        at += step(child)
    return keys


def _directions(measure: etree._Element) -> Iterator[tuple[Ticks, str, bytes]]:
    for key in _keys(measure):
        if key:
            at, staff, content = key
            yield key
            if b"<words" in content or b"tempo" in content:  # a tempo stands for all staves
                yield at, "2" if staff == "1" else "1", content


def _content(sign: etree._Element) -> bytes:
    """Text of a sign without where it is drawn, to know it again in another part."""
    copy = deepcopy(sign)
    copy.tail = None
    for inner in copy.iter():
        forget(inner, "number", "id", "default-x", "default-y", "relative-x", "relative-y")
    return etree.tostring(copy, method="c14n")


def _state_two_staves(part: etree._Element, layout: _Layout) -> None:
    measure = part.find("measure")
    if measure is None:
        return
    attributes = measure.find("attributes")
    if attributes is None:
        attributes = element("attributes")
        measure.insert(0, attributes)
    put(attributes, element("staves", "2"))
    stated = {clef.get("number", "1") for clef in attributes.findall("clef")}
    for staff, sign, line in (("1", "G", "2"), ("2", "F", "4")):
        if staff not in stated and not any(
                c.get("number", "1") == staff for c in measure.iterfind("attributes/clef")):
            clef = put(attributes, element("clef", None, number=staff))
            clef.extend([element("sign", sign), element("line", line)])


def _fill_lower_staff(part: etree._Element, layout: _Layout) -> None:
    """Give the second staff a rest in every measure."""
    voice = layout.voice(0, "", "2")
    for measure in part.findall("measure"):
        end, furthest = length(measure)
        if not furthest:
            continue
        ending = [b for b in measure.findall("barline") if b.get("location", "right") == "right"]
        if end:
            etree.SubElement(measure, "backup").append(element("duration", number(end)))
        note = etree.SubElement(measure, "note")
        note.extend([element("rest", None, measure="yes"), element("duration", number(furthest)),
                     element("voice", voice), element("staff", "2")])
        measure.extend(ending)


