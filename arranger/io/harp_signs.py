"""One sign where several players had the same: dynamics, hairpins, slurs, fermatas."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from lxml import etree

from arranger.io.write_divisions import Ticks, placed
from arranger.io.write_order import detach, prune_notations
from arranger.io.write_slurs import pairs

Place = tuple[int, Ticks]

#: From soft to loud; other signs (sf, fp) are accents of one player and stay with him.
LEVELS = ("pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff")


def join_signs(part: etree._Element) -> None:
    """Leave of equal signs at one moment the one that comes first, on the upper staff if there."""
    places = _places(part)
    _join_dynamics(part, places)
    _join_hairpins(part, places)
    _join_slurs(part, places)


def _places(part: etree._Element) -> dict[etree._Element, Place]:
    """Return measure and place, in divisions, of every child of a measure."""
    found: dict[etree._Element, Place] = {}
    for index, measure in enumerate(part.findall("measure")):
        for start, child in placed(measure):
            found[child] = (index, start + offset_of(child))
    return found


def offset_of(child: etree._Element) -> Fraction:
    """Return how far, in divisions, a direction takes effect from where it stands in the file."""
    return Fraction((child.findtext("offset") or "0").strip() or 0)


def _directions(part: etree._Element) -> Iterator[etree._Element]:
    """Directions with those of the upper staff first."""
    return iter(sorted(part.iterfind("measure/direction"),
                       key=lambda d: (d.findtext("staff") or "1").strip()))


def level_of(dynamics: etree._Element) -> str:
    """Return what a sign says, such as *mf*."""
    return " ".join(d.text or "" if d.tag == "other-dynamics" else str(d.tag) for d in dynamics)


def _join_dynamics(part: etree._Element, places: dict[etree._Element, Place]) -> None:
    shown: dict[Place, set[str]] = {}
    for direction in _directions(part):
        place = places[direction]
        for sign in direction.findall("direction-type/dynamics"):
            level = level_of(sign)
            if level in shown.setdefault(place, set()):
                take_out(sign)
            shown[place].add(level)


def _join_hairpins(part: etree._Element, places: dict[etree._Element, Place]) -> None:
    waiting: dict[str, etree._Element] = {}
    found: list[tuple[str, etree._Element, etree._Element]] = []
    for sign in part.iterfind("measure/direction/direction-type/wedge"):
        number = sign.get("number", "1")
        if sign.get("type") in ("crescendo", "diminuendo"):
            waiting[number] = sign
        elif sign.get("type") == "stop" and number in waiting:
            start = waiting.pop(number)
            found.append((start.get("type", ""), start, sign))
    shown: set[tuple[str, Place, Place]] = set()
    for kind, start, stop in sorted(found, key=lambda f: _staff(f[1])):
        span = (kind, places[_direction(start)], places[_direction(stop)])
        if span in shown:
            take_out(start)
            take_out(stop)
        shown.add(span)


def _join_slurs(part: etree._Element, places: dict[etree._Element, Place]) -> None:
    """Slurs of one staff that begin and end together: the first voice's is drawn."""
    shown: set[tuple[str, Place, Place]] = set()
    for start, stop in pairs(part, "slur"):
        first, last = (next(s.iterancestors("note")) for s in (start, stop))
        span = (first.findtext("staff") or "1", places[first], places[last])
        if span in shown and first.find("grace") is None:
            for sign, note in ((start, first), (stop, last)):
                detach(sign)
                prune_notations(note)
        shown.add(span)


def join_fermatas(part: etree._Element) -> None:
    """Leave one fermata for all that is struck at one moment on one staff."""
    places = _places(part)
    shown: set[tuple[str, Place]] = set()
    for note in part.iterfind("measure/note"):
        signs = note.findall("notations/fermata")
        place = (note.findtext("staff") or "1", places[note])
        for sign in signs if place in shown else signs[1:]:
            detach(sign)
            prune_notations(note)
        if signs:
            shown.add(place)


def _direction(sign: etree._Element) -> etree._Element:
    return next(sign.iterancestors("direction"))


def _staff(sign: etree._Element) -> str:
    return (_direction(sign).findtext("staff") or "1").strip()


def take_out(sign: etree._Element) -> None:
    """Remove a sign, and what is empty without it; what the direction sounds goes with it."""
    kind, direction = sign.getparent(), _direction(sign)
    detach(sign)
    if kind is not None and len(kind) == 0:
        detach(kind)
    if direction.find("direction-type") is None:
        detach(direction)
