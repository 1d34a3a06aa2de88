"""The harp part taken out of the score, with what the others have for all players."""

from __future__ import annotations

from collections.abc import Iterator
from copy import deepcopy
from fractions import Fraction
from xml.etree import ElementTree as ET

from arranger.report.for_all import (
    Said,
    form_said,
    made_visible,
    opens_section,
    said,
    signs_for_all,
)
from arranger.rulebook.score_words import changes_tempo


def part_alone(root: ET.Element) -> ET.Element:
    """Leave the last part in a score (which is changed), unnamed, without layout.

    What is for all players (form, tempo, rehearsal marks, headings) and stands in another part
    only, as scores have it, is put at its place in the part that stays; there it stands over
    the upper staff, and once. Returns the part.
    """
    *others, part = root.findall("part")
    entry = root.findall("part-list/score-part")[-1]
    parts = [part.findall("measure"), *(other.findall("measure") for other in others)]
    for index, measure in enumerate(parts[0]):
        for layout in measure.findall("print"):
            measure.remove(layout)
        _gather(parts, index)
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


def _gather(parts: list[list[ET.Element]], index: int) -> None:
    """Put into a bar of the first of these parts what the others have for all players."""
    own = parts[0]
    measure = own[index]
    seen = _say_once(own, index)
    divisions = _divisions(own, index)
    form = {kind for child in measure.iterfind("direction") if said(child)
            for kind in form_said(child)}
    silent: dict[str, Fraction] = {}
    turns: set[Fraction] = set()  # where a change of tempo stands already
    for rank, bars in enumerate(parts):
        for at, child in _placed(bars, index):
            told = form_said(child)
            if child.tag == "sound" or not said(child):
                silent |= {kind: at for kind in told if kind not in silent}
                continue
            top = rank == 1 and child.findtext("staff", "1").strip() == "1"
            signs = signs_for_all(child, top, at == 0 and opens_section(bars, index))
            mark = _only(child, signs)
            turning = any(tag == "words" and changes_tempo(text) for tag, text in said(mark))
            if bars is own or not signs:
                turns |= {at} if turning else set()
                continue
            if turning and at in turns and not any(tag != "words" for tag, _ in said(mark)):
                continue
            turns |= {at} if turning else set()
            if said(mark) <= seen or (told and told <= form):
                _lift(measure, said(mark))
                continue
            seen |= said(mark)
            form |= told
            _put(measure, mark, at * divisions)
    for mark in made_visible(kind for kind in silent if kind not in form):
        _put(measure, mark, silent[form_said(mark).pop()] * divisions)


def _say_once(own: list[ET.Element], index: int) -> Said:
    """Lift a bar's marks for all over the upper staff, each once; return what the bar says."""
    measure = own[index]
    opens = opens_section(own, index)
    everything: Said = frozenset()
    shown: dict[tuple[str, str], set[tuple[str, Fraction]]] = {}
    marks = sorted(((child.findtext("staff", "1").strip(), at, rank, child) for rank, (at, child)
                    in enumerate(_placed(own, index)) if child.tag == "direction"),
                   key=lambda mark: mark[:3])
    for staff, at, _, direction in marks:
        signs = signs_for_all(direction, True, staff == "1" and at == 0 and opens)
        here = said(_only(direction, signs)) if signs else frozenset()
        everything |= said(direction)
        if here and all(any(staff != other or at == then for other, then in shown.get(what, ()))
                        for what in here):
            for sign in signs:
                direction.remove(sign)
            if direction.find("direction-type") is None:
                measure.remove(direction)
        elif signs_for_all(direction, False, False):
            _lift(measure, here)
        elif staff == "1" and signs == direction.findall("direction-type") and _anywhere(direction):
            _settle(direction)
        for what in here:
            shown.setdefault(what, set()).add((staff, at))
    return everything


def _lift(measure: ET.Element, what: Said) -> None:
    """Have what stands above a lower staff, so between the two, and says this stand on top."""
    for direction in measure.findall("direction"):
        if (direction.findtext("staff", "1").strip() != "1" and said(direction) & what
                and direction.get("placement") == "above"):
            _settle(direction)


def _anywhere(direction: ET.Element) -> bool:
    """Tell whether a score leaves it open on which side of its staff a mark stands."""
    return direction.get("placement") is None and not any(
        sign.get("default-y", "").strip().startswith("-")
        for sign in direction.iterfind("direction-type/*"))


def _settle(direction: ET.Element) -> None:
    """Have a mark stand over the upper staff."""
    for name in ("staff", "voice"):
        for element in direction.findall(name):
            direction.remove(element)
    direction.set("placement", "above")
    sound = direction.find("sound")
    staff = ET.Element("staff")
    staff.text = "1"
    direction.insert(list(direction).index(sound) if sound is not None else len(direction), staff)


def _only(direction: ET.Element, signs: list[ET.Element]) -> ET.Element:
    """Copy a direction with some of its signs."""
    copy = deepcopy(direction)
    for kept, kind in zip(direction.findall("direction-type"), copy.findall("direction-type"),
                          strict=True):
        if kept not in signs:
            copy.remove(kind)
    return copy


def _placed(bars: list[ET.Element], index: int) -> Iterator[tuple[Fraction, ET.Element]]:
    """Give the directions and sounds of a bar, each with its place in quarter notes."""
    if index >= len(bars):
        return
    divisions, at = _divisions(bars, index), Fraction(0)
    for element in bars[index]:
        if element.tag in ("direction", "sound"):
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


def _put(measure: ET.Element, mark: ET.Element, divisions: Fraction) -> None:
    """Put a mark at the head of a bar, ``divisions`` after its beginning."""
    for element in mark.findall("offset"):
        mark.remove(element)
    _settle(mark)
    if divisions:
        offset = ET.Element("offset")
        offset.text = str(round(divisions))
        last = max(k for k, child in enumerate(mark) if child.tag == "direction-type")
        mark.insert(last + 1, offset)
    heads = ("attributes", "barline", "direction", "sound")
    measure.insert(next((k for k, child in enumerate(measure) if child.tag not in heads),
                        len(measure)), mark)
