"""Pedal settings and moves as directions of the harp part."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from itertools import groupby
from math import lcm

from lxml import etree

from arranger.io.pedal_words import BOX_EXPLAINED, SPACE, move_words, tune_words
from arranger.io.write_divisions import (
    common_divisions,
    divisions_by_measure,
    number,
    set_divisions,
    step,
)
from arranger.io.write_order import element, put
from arranger.model.draft import PedalMove, PedalPlan
from arranger.model.harp import PEDALS, PedalSetting
from arranger.model.score import Score

PLACEMENT, STAFF = "below", "2"  # below both staves, never between them


def write_pedals(part: etree._Element, plan: PedalPlan, score: Score,
                 diagrams_at: Iterable[Fraction] = (), moves: bool = True) -> None:
    """Write the opening diagram, later diagrams, the moves if asked, and what is tuned by hand.

    A move between two events stands at the event before, with an exact ``<offset>``; the
    divisions of the part are raised where that needs it.
    """
    measures = part.findall("measure")
    if not measures:
        return
    signs: list[tuple[Fraction, list[etree._Element]]] = [(Fraction(0), _opening(plan))]
    for onset in sorted(set(diagrams_at)):
        if onset > 0:
            signs.append((onset, [_direction(_diagram(plan.at(onset)))]))
    explained = False
    printed = sorted(plan.moves, key=lambda m: m.onset) if moves else []
    for onset, group in groupby(printed, lambda m: m.onset):
        made, boxed = _moves(list(group))
        if boxed and not explained:
            made.insert(0, _direction(_words(BOX_EXPLAINED, **{
                "font-size": "8", "font-style": "italic"})))
            explained = True
        signs.append((onset, made))
    signs.sort(key=lambda item: item[0])
    _raise_divisions(part, score, [onset for onset, _ in signs])
    divisions = [d for _, d in divisions_by_measure(part)]
    for onset, made in reversed(signs):
        index = min(score.measure_at(onset).index, len(measures) - 1)
        at = (onset - score.measures[index].onset) * divisions[index]
        insert(measures[index], at, made)


def _opening(plan: PedalPlan) -> list[etree._Element]:
    tuned = [_direction(_words(tune_words(string, alter)))
             for string, alter in sorted(plan.fixed.items()) if alter]
    return [*tuned, _direction(_diagram(plan.opening))]


def _diagram(setting: PedalSetting) -> etree._Element:
    diagram = element("harp-pedals")
    for pedal in PEDALS:
        tuning = etree.SubElement(diagram, "pedal-tuning")
        tuning.append(element("pedal-step", pedal))
        tuning.append(element("pedal-alter", str(setting.alter(pedal))))
    return diagram


def _moves(moves: list[PedalMove]) -> tuple[list[etree._Element], bool]:
    """One direction for the moves of one moment; says whether a box is in it."""
    words = move_words(moves)
    made: list[etree._Element] = []
    for text, boxed in words:
        if made:
            made.append(_words(SPACE))
        made.append(_words(text, **({"enclosure": "rectangle"} if boxed else {})))
    return [_direction(*made)], any(boxed for _, boxed in words)


def _words(text: str, **attributes: str) -> etree._Element:
    return element("words", text, **attributes)


def _direction(*signs: etree._Element) -> etree._Element:
    made = element("direction", None, placement=PLACEMENT)
    made.append(element("direction-type"))
    made[0].extend(signs)
    made.append(element("staff", STAFF))
    return made


def _raise_divisions(part: etree._Element, score: Score, onsets: list[Fraction]) -> None:
    """Raise the divisions so that every onset is a whole number of them."""
    common = common_divisions([part])
    finer = lcm(*((onset - score.measure_at(onset).onset).denominator for onset in onsets))
    needed = any((onset - score.measure_at(onset).onset) * common % 1 for onset in onsets)
    if needed:
        set_divisions(part, lcm(common, finer))


def insert(measure: etree._Element, at: Fraction, made: list[etree._Element]) -> None:
    """Put directions or sounds before the last event up to ``at``; ``<offset>`` does the rest.

    Of several places at that moment the first in the file is taken, so that signs of one moment
    stand together.
    """
    best: tuple[Fraction, int] | None = None
    cursor = Fraction(0)
    for place, child in enumerate(measure):
        if child.tag == "note" and child.find("chord") is None and cursor <= at and (
                best is None or cursor > best[0]):
            best = (cursor, place)
        cursor = max(cursor + step(child), Fraction(0))
    here, place = best or (Fraction(0), len(measure))
    for shift, direction in enumerate(made):
        if at != here:
            put(direction, element("offset", number(at - here)))
        measure.insert(place + shift, direction)
