"""Hidden rests for each bar of a staff in which no voice begins.

Verovio leaves out the clef that follows on a staff whose bar holds only a voice of the other one.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import count, pairwise
from xml.etree import ElementTree as ET

#: The plain values in quarter notes, and the parts of a quarter note the shortest stands for.
_VALUES = {"whole": Fraction(4), "half": Fraction(2), "quarter": Fraction(1),
           "eighth": Fraction(1, 2), "16th": Fraction(1, 4), "32nd": Fraction(1, 8),
           "64th": Fraction(1, 16)}
_SHORTEST = 16
_STAVES = 9  # most there are: a checked part comes as its composer wrote it


def hold_staves(part: ET.Element) -> None:
    """Put hidden rests on every staff of a bar that has notes but no voice of its own there."""
    staves, divisions = 1, Fraction(1)
    for measure in part.findall("measure"):
        for told in measure.iterfind("attributes/staves"):
            staves = min(int(_number(told.text)), _STAVES)
        for told in measure.iterfind("attributes/divisions"):
            divisions = _number(told.text) or Fraction(1)
        first: dict[str, str] = {}  # voice, and the staff its first note of the bar stands on
        for note in measure.findall("note"):
            first.setdefault(note.findtext("voice", "1").strip(),
                             note.findtext("staff", "1").strip())
        for staff in map(str, range(1, staves + 1) if first else ()):
            if staff not in first.values():
                voice = next(v for v in map(str, count(int(staff))) if v not in first)
                first[voice] = staff
                _rest(measure, staff, voice, divisions)


def _rest(measure: ET.Element, staff: str, voice: str, divisions: Fraction) -> None:
    """Add rests as long as the bar, parted at the clefs of the staff so that these keep place.

    They have written values: the clef after a rest that is only "the whole bar" stands before it.
    """
    *_, at = places = list(times(measure))
    clefs = {place / divisions for place, child in zip(places, measure, strict=False)
             for clef in child.findall("clef") if clef.get("number", "1") == staff}
    added = [_with(ET.Element("backup"), duration=str(at))] if at else []
    for start, end in pairwise(sorted({Fraction(0), *filter(_plain, clefs),
                                       max(places) / divisions})):
        for name, value in _values(end - start):
            rest = ET.Element("note", {"print-object": "no"})
            ET.SubElement(rest, "rest")
            added.append(_with(rest, duration=str(value * divisions), voice=voice, type=name,
                               staff=staff))
    last = max(k for k, child in enumerate(measure)
               if child.tag in ("note", "backup", "forward"))
    measure[last + 1:last + 1] = added


def _plain(time: Fraction) -> bool:
    """Tell whether values without dots and tuplets reach from the bar's beginning to here."""
    return _SHORTEST % time.denominator == 0


def _values(length: Fraction) -> Iterator[tuple[str, Fraction]]:
    """Cut a length in quarter notes into values, the longest first; what is over is left out."""
    for name, value in _VALUES.items():
        for _ in range(int(length // value)):
            yield name, value
        length %= value


def times(measure: ET.Element) -> Iterator[Fraction]:
    """Give the place in divisions at which each element of a bar stands, and that of its end."""
    at = Fraction(0)
    for element in measure:
        yield at
        length = _number(element.findtext("duration"))
        if element.tag == "backup":
            at -= length
        elif element.tag in ("note", "forward") and element.find("chord") is None:
            at += length
    yield at


def _number(text: str | None) -> Fraction:
    """Read a number; what is none counts as nothing, for the engraver has its own word on it."""
    try:
        return abs(Fraction((text or "0").strip()))
    except (ValueError, ZeroDivisionError):
        return Fraction(0)


def _with(element: ET.Element, **told: str) -> ET.Element:
    for name, text in told.items():
        ET.SubElement(element, name).text = text
    return element
