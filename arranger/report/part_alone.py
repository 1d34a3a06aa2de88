"""The harp part taken out of the score, with the tempo and the rehearsal marks of the others."""

from __future__ import annotations

from collections.abc import Iterator
from copy import deepcopy
from fractions import Fraction
from xml.etree import ElementTree as ET

#: Only these belong to all players; other words and signs are of the part they stand in.
_FOR_ALL = ("direction-type/metronome", "direction-type/rehearsal", "sound[@tempo]")


def part_alone(root: ET.Element) -> ET.Element:
    """Leave the last part in a score (which is changed), unnamed, without layout.

    A tempo or a rehearsal mark that stands in another part only, as scores have it, is put at
    its place in the part that stays. Returns the part.
    """
    *others, part = root.findall("part")
    entry = root.findall("part-list/score-part")[-1]
    for index, measure in enumerate(part.findall("measure")):
        for layout in measure.findall("print"):
            measure.remove(layout)
        own = {_key(direction) for direction in measure.iterfind("direction")}
        for other in others:
            bars = other.findall("measure")
            for at, direction in _for_all(bars, index):
                if _key(direction) not in own:
                    own.add(_key(direction))
                    _put(measure, direction, at * _divisions(part.findall("measure"), index))
    for other in others:
        root.remove(other)
    listed = root.find("part-list")
    if listed is not None:
        listed.clear()
        listed.append(entry)
    for name in ("part-name", "part-abbreviation"):
        for element in entry.findall(name):
            element.text = ""  # the page's head says Harp
    return part


def _key(direction: ET.Element) -> str:
    """What a mark says, so that it is not said twice; empty for what is not for all."""
    if not any(direction.find(what) is not None for what in _FOR_ALL):
        return ""
    return " ".join("".join(direction.itertext()).split())


def _for_all(bars: list[ET.Element], index: int) -> Iterator[tuple[Fraction, ET.Element]]:
    """Give the marks for all players in a bar, each with its place in quarter notes."""
    if index >= len(bars):
        return
    divisions, at = _divisions(bars, index), Fraction(0)
    for element in bars[index]:
        if element.tag == "direction" and _key(element):
            offset = Fraction(element.findtext("offset", "0").strip() or 0)
            yield max(at + offset / divisions, Fraction(0)), element
        length = Fraction(element.findtext("duration", "0").strip() or 0) / divisions
        if element.tag == "backup":
            at -= length
        elif element.tag in ("note", "forward") and element.find("chord") is None:
            at += length


def _divisions(bars: list[ET.Element], index: int) -> Fraction:
    for measure in reversed(bars[:index + 1]):
        told = measure.findtext("attributes/divisions")
        if told:
            return Fraction(told.strip())
    return Fraction(1)


def _put(measure: ET.Element, direction: ET.Element, divisions: Fraction) -> None:
    """Put a copy at the head of a bar, ``divisions`` after its beginning."""
    copy = deepcopy(direction)
    for name in ("offset", "staff", "voice"):
        for element in copy.findall(name):
            copy.remove(element)
    copy.set("placement", "above")
    last = max((k for k, child in enumerate(copy) if child.tag == "direction-type"), default=-1)
    if divisions:
        offset = ET.Element("offset")
        offset.text = str(round(divisions))
        copy.insert(last + 1, offset)
    sound = copy.find("sound")
    staff = ET.Element("staff")
    staff.text = "1"
    copy.insert(list(copy).index(sound) if sound is not None else len(copy), staff)
    heads = [k for k, child in enumerate(measure) if child.tag == "attributes"]
    measure.insert(heads[0] + 1 if heads and heads[0] == 0 else 0, copy)
