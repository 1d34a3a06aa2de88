"""Divisions of a quarter note: one value for a whole part, and where the cursor stands."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache
from itertools import dropwhile
from math import lcm

from lxml import etree

from arranger.io.write_order import first, first_text

#: A length or a place in divisions. Nearly all are whole, and whole numbers are quick.
Ticks = int | Fraction
_ATTRIBUTES = {"note": ("attack", "release"), "grace": ("make-time",)}


@lru_cache(maxsize=4096)
def _number(text: str) -> Ticks:
    value = Fraction(text.strip())
    return value.numerator if value.denominator == 1 else value


def duration(element: etree._Element) -> Ticks:
    """Return ``<duration>`` in divisions, 0 where there is none."""
    return _number(first_text(element, "duration") or "0")


def step(element: etree._Element) -> Ticks:
    """Return how far a child of a measure moves the cursor, in divisions."""
    if element.tag == "note":
        if next(element.iterchildren("chord", "grace"), None) is not None:
            return 0
        return duration(element)
    if element.tag in ("backup", "forward"):
        return duration(element) if element.tag == "forward" else -duration(element)
    return 0


def placed(measure: etree._Element) -> Iterator[tuple[Ticks, etree._Element]]:
    """Yield the children of a measure with their places in divisions; a chord stands as one."""
    at: Ticks = 0
    start: Ticks = 0
    for child in measure:
        if first(child, "chord") is None:
            start = at
        yield start, child
        at = max(at + step(child), 0)


def length(measure: etree._Element) -> tuple[Ticks, Ticks]:
    """Return where the cursor ends and how far it went at most, in divisions."""
    at: Ticks = 0
    furthest: Ticks = 0
    for child in measure:
        at = max(at + step(child), 0)
        furthest = max(furthest, at)
    return at, furthest


def common_divisions(parts: list[etree._Element]) -> int:
    """Return the least number that all divisions of these parts divide."""
    return lcm(1, *(Fraction((d.text or "1").strip()).numerator
                    for part in parts for d in part.iter("divisions")))


def set_divisions(part: etree._Element, divisions: int) -> None:
    """Bring a whole part to ``divisions``; every length in it is scaled, none is rounded."""
    factor = Fraction(divisions)  # divisions are 1 until the part says otherwise
    for element in part.iter("divisions", "duration", "offset", "note", "grace"):
        if element.tag == "divisions":
            if not _in_force(element):
                continue
            factor = divisions / Fraction((element.text or "1").strip())
            element.text = str(divisions)
        elif element.tag in _ATTRIBUTES:
            for name in _ATTRIBUTES[str(element.tag)]:
                if name in element.attrib:
                    element.set(name, number(Fraction(element.get(name, "0")) * factor))
        elif element.text:
            element.text = number(Fraction(element.text.strip()) * factor)


def settle_divisions(part: etree._Element) -> None:
    """Bring a part whose divisions change inside a bar to one value for the whole of it.

    What follows reckons with one value a bar (``divisions_by_measure``).
    """
    if any(child.find("divisions") is not None for measure in part.findall("measure")
           for child in _behind_music(measure) if child.tag == "attributes"):
        set_divisions(part, common_divisions([part]))


def _behind_music(measure: etree._Element) -> Iterator[etree._Element]:
    return dropwhile(lambda child: child.tag not in ("note", "backup", "forward"), measure)


def _in_force(divisions: etree._Element) -> bool:
    """Tell whether a reader would see it: a stray one, in a note say, counts for nothing."""
    above = [str(a.tag) for a in divisions.iterancestors()][:3]
    return above == ["attributes", "measure", "part"]


def divisions_by_measure(part: etree._Element) -> Iterator[tuple[etree._Element, Fraction]]:
    """Yield each measure with the divisions in force in it (the last value it states)."""
    divisions = Fraction(1)
    for measure in part.findall("measure"):
        for stated in measure.iterfind("attributes/divisions"):
            divisions = Fraction((stated.text or "1").strip())
        yield measure, divisions


def number(value: Ticks) -> str:
    """Write a length: an integer, or decimals for the rare source that has them."""
    return str(value.numerator) if value.denominator == 1 else str(float(value))
