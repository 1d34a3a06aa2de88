"""The levers before the piece, and their moves, as words in the harp part."""

from __future__ import annotations

from fractions import Fraction
from math import lcm

from lxml import etree

from arranger.io.lever_words import move_words, opening_words
from arranger.io.write_divisions import (
    common_divisions,
    divisions_by_measure,
    set_divisions,
)
from arranger.io.write_order import element
from arranger.io.write_pedals import insert
from arranger.model.levers import LeverPlan
from arranger.model.score import Score

PLACEMENT, STAFF = "below", "2"  # the left hand's side; never between the staves


def write_levers(part: etree._Element, levers: LeverPlan, score: Score,
                 shown: str = "all") -> None:
    """Write the opening list and every move where it begins.

    ``shown``: ``all`` or ``changes`` (the list and the moves), ``diagrams`` (the list only) or
    ``none``, as for pedals. A harp without levers gets nothing.
    """
    measures = part.findall("measure")
    signs = [(onset, made[0]) for onset, made in lever_signs(levers, shown, STAFF)]
    if not measures or not signs:
        return
    places = [(bar := score.measure_at(onset), onset - bar.onset) for onset, _ in signs]
    common = common_divisions([part])
    if any(place * common % 1 for _, place in places):
        set_divisions(part, lcm(common, *(place.denominator for _, place in places)))
    divisions = [d for _, d in divisions_by_measure(part)]
    for (bar, place), (_, made) in reversed(list(zip(places, signs, strict=True))):
        insert(measures[bar.index], place * divisions[bar.index], [made])


def lever_signs(levers: LeverPlan, shown: str,
                staff: str | None) -> list[tuple[Fraction, list[etree._Element]]]:
    """Return the directions of the opening list, if any, and of every move, with its onset."""
    if shown == "none":
        return []
    signs = [(Fraction(0), [_direction(opening_words(levers.opening), staff)])
             ] if levers.opening else []
    if shown != "diagrams":
        signs += [(m.onset, [_direction(move_words([m]), staff)]) for m in levers.moves]
    return signs


def _direction(text: str, staff: str | None) -> etree._Element:
    made = element("direction", None, placement=PLACEMENT)
    made.append(element("direction-type"))
    made[0].append(element("words", text))
    if staff is not None:
        made.append(element("staff", staff))
    return made
