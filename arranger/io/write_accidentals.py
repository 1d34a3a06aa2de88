"""Accidentals of a part, set anew by staff, bar and line after notes were changed."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import groupby

from lxml import etree

from arranger.io.write_divisions import Ticks, step
from arranger.io.write_events import pitch_of, staff_of
from arranger.io.write_keys import alter_in
from arranger.io.write_order import drop, element, first, put
from arranger.model.pitch import STEPS, Pitch

NAMES = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}
_MEANING = {**{name: alter for alter, name in NAMES.items()}, "natural-flat": -1,
            "natural-sharp": 1, "sharp-sharp": 2}


@dataclass(slots=True)
class _Staff:
    """What is in force on one staff: the key, and the accidentals of the bar by line."""

    key: Mapping[str, int] = field(default_factory=dict)
    bar: dict[tuple[str, int], int] = field(default_factory=dict)
    letters: dict[str, tuple[int, int, bool]] = field(default_factory=dict)


Needs = dict[etree._Element, str]  # "" none, "needed" by the rule, "courtesy"


def needs(part: etree._Element, tied: Collection[etree._Element],
          repitched: Collection[etree._Element] = ()) -> Needs:
    """Say for every pitched note whether it must show its accidental.

    An accidental holds for its line to the end of the bar (common practice); a note tied to the
    one before (``tied``) needs none. Courtesy is due where a letter stands otherwise than the
    last time, in this bar or the one before, and one of the two notes was ``repitched``.
    """
    staves: dict[str, _Staff] = {}
    found: Needs = {}
    for index, measure in enumerate(part.findall("measure")):
        for staff in staves.values():
            staff.bar.clear()
        for together in _moments(measure):
            for child in together:
                if child.tag == "attributes":
                    _take_keys(child, staves)
            notes = [(n, p, staves.setdefault(staff_of(n), _Staff())) for n in together
                     if n.tag == "note" and (p := pitch_of(n)) is not None]
            clashing = _clashes(notes)
            for note, pitch, staff in notes:
                if note not in tied:
                    found[note] = _judge(note, pitch, staff, note in clashing, index, repitched)
    return found


Struck = tuple[etree._Element, Pitch, _Staff]


def _moments(measure: etree._Element) -> Iterator[list[etree._Element]]:
    """Yield what stands at one moment: keys, then each grace chord, then the notes together."""
    at: Ticks = 0
    start: Ticks = 0
    placed: list[tuple[Ticks, int, int, etree._Element]] = []
    for order, child in enumerate(measure):
        if child.tag == "note":
            signs = [sign.tag for sign in child.iterchildren("chord", "grace")]
            if "chord" not in signs:
                start = at
            grace = "grace" in signs
            placed.append((start, 1, order, child) if grace else (start, 2, 0, child))
        elif child.tag == "attributes":
            placed.append((at, 0, order, child))
        at = max(at + step(child), 0)
    placed.sort(key=lambda item: item[:3])
    for _, together in groupby(placed, lambda item: item[:3]):
        yield [child for *_, child in together]


def _take_keys(attributes: etree._Element, staves: dict[str, _Staff]) -> None:
    for key in attributes.findall("key"):
        signature = _signature(key)
        number = key.get("number")
        for staff in [number] if number else {*staves, "1", "2"}:
            here = staves.setdefault(staff, _Staff())
            if here.key != signature:
                here.letters.clear()  # a new signature tells what a courtesy would
            here.key = signature


def _signature(key: etree._Element) -> dict[str, int]:
    fifths = key.findtext("fifths")
    if fifths is None:
        letters = [(s.text or "").strip() for s in key.findall("key-step")]
        alters = [round(float(a.text or 0)) for a in key.findall("key-alter")]
        return dict(zip(letters, alters, strict=False))
    return {letter: alter_in(int(fifths), letter) for letter in STEPS}


def _clashes(notes: list[Struck]) -> set[etree._Element]:
    """Notes that share line and moment with another accidental: each shows its own."""
    alters: dict[tuple[int, int], set[int]] = {}
    for _, pitch, staff in notes:
        alters.setdefault((id(staff), pitch.position), set()).add(pitch.alter)
    return {note for note, pitch, staff in notes if len(alters[id(staff), pitch.position]) > 1}


def _judge(note: etree._Element, pitch: Pitch, staff: _Staff, clash: bool, index: int,
           repitched: Collection[etree._Element]) -> str:
    line = (pitch.step, pitch.octave)
    in_force = staff.bar.get(line, staff.key.get(pitch.step, 0))
    alter, bar, was_repitched = staff.letters.get(pitch.step, (pitch.alter, index, False))
    staff.letters[pitch.step] = (pitch.alter, index, note in repitched)
    if clash or in_force != pitch.alter:
        staff.bar[line] = pitch.alter
        return "needed"
    if alter != pitch.alter and bar >= index - 1 and (was_repitched or note in repitched):
        return "courtesy"
    return ""


def write_accidentals(before: Needs, after: Needs, part: etree._Element,
                      repitched: Collection[etree._Element]) -> None:
    """Write the accidentals of ``after``; a courtesy of the source on an unchanged note stays."""
    for note in part.iterfind("measure/note"):
        pitch, sign = pitch_of(note), first(note, "accidental")
        if pitch is None:
            continue
        need = after.get(note, "")
        fits = sign is not None and _MEANING.get((sign.text or "").strip()) == pitch.alter
        if need and not fits:
            drop(note, "accidental")
            made = put(note, element("accidental", NAMES[pitch.alter]))
            if need == "courtesy":
                made.set("cautionary", "yes")
        elif sign is not None and not need:
            own = note not in repitched and before.get(note, "") != "needed"
            if not (own and fits):
                note.remove(sign)
