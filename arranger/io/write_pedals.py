"""Pedal settings and moves as directions of the harp part."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from fractions import Fraction
from itertools import groupby
from math import lcm

from lxml import etree

from arranger.io.pedal_words import BOX_EXPLAINED, SPACE, move_words, tune_words
from arranger.io.write_divisions import (
    Ticks,
    common_divisions,
    divisions_by_measure,
    number,
    set_divisions,
    step,
)
from arranger.io.write_order import element, put
from arranger.model.draft import PedalMove, PedalPlan
from arranger.model.harp import PEDALS, HarpString, PedalSetting
from arranger.model.score import Score

STAFF = "2"  # below both staves, never between them


def write_pedals(part: etree._Element, plan: PedalPlan, score: Score,
                 diagrams_at: Iterable[Fraction] = (), moves: bool = True) -> None:
    """Write the opening diagram, later diagrams, the moves if asked, and what is tuned by hand.

    A move between two events stands at the event before, with an exact ``<offset>``; the
    divisions of the part are raised where that needs it.
    """
    measures = part.findall("measure")
    if not measures:
        return
    settings = [(Fraction(0), plan.opening),
                *((o, plan.at(o)) for o in sorted(set(diagrams_at)) if o > 0)]
    signs = pedal_signs(settings, plan.moves if moves else (), plan.fixed, STAFF)
    _raise_divisions(part, score, [onset for onset, _ in signs])
    divisions = [d for _, d in divisions_by_measure(part)]
    for onset, made in reversed(signs):
        index = min(score.measure_at(onset).index, len(measures) - 1)
        at = (onset - score.measures[index].onset) * divisions[index]
        insert(measures[index], at, made)


def pedal_signs(settings: Iterable[tuple[Fraction, PedalSetting]], moves: Iterable[PedalMove],
                fixed: Mapping[HarpString, int],
                staff: str | None) -> list[tuple[Fraction, list[etree._Element]]]:
    """Make the directions of settings, moves and strings tuned by hand, in order of time.

    Parameters
    ----------
    settings, moves : in order of time; the moves of one moment share a direction.
    fixed : strings without discs, with what they are tuned to at the start.
    staff : number of the staff they stand under; None where the part has one staff.
    """
    signs: dict[Fraction, list[etree._Element]] = {}
    for string, alter in sorted(fixed.items()):
        if alter:
            signs.setdefault(Fraction(0), []).append(
                _direction(staff, _words(tune_words(string, alter))))
    for onset, group in groupby(sorted(moves, key=lambda m: m.onset), lambda m: m.onset):
        words = move_words(list(group))
        signs.setdefault(onset, []).append(_direction(staff, *_change(words)))
    for onset, setting in settings:  # after the moves of its moment: it shows what they lead to
        signs.setdefault(onset, []).append(_direction(staff, _diagram(setting)))
    if any(move.notches > 1 for move in moves):  # at the start: there it pushes no letter aside
        signs.setdefault(Fraction(0), []).append(_direction(staff, _words(BOX_EXPLAINED, **{
            "font-size": "8", "font-style": "italic"})))
    return sorted(signs.items(), key=lambda item: item[0])


def _diagram(setting: PedalSetting) -> etree._Element:
    diagram = element("harp-pedals")
    for pedal in PEDALS:
        tuning = etree.SubElement(diagram, "pedal-tuning")
        tuning.append(element("pedal-step", pedal))
        tuning.append(element("pedal-alter", str(setting.alter(pedal))))
    return diagram


def _change(words: Iterable[tuple[str, bool]]) -> Iterator[etree._Element]:
    """The words of one moment, a hard space between those that do not share a text."""
    for rank, (text, boxed) in enumerate(words):
        if rank:
            yield _words(SPACE)
        yield _words(text, **({"enclosure": "rectangle"} if boxed else {}))


def _words(text: str, **attributes: str) -> etree._Element:
    return element("words", text, **attributes)


def _direction(staff: str | None, *signs: etree._Element) -> etree._Element:
    made = element("direction", None, placement="below")
    made.append(element("direction-type"))
    made[0].extend(signs)
    if staff is not None:
        made.append(element("staff", staff))
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
    best: tuple[Ticks, int] | None = None
    cursor: Ticks = 0
    start = len(measure)  # where time begins: a bar can open with a gap
    for place, child in enumerate(measure):
        if child.tag in ("note", "backup", "forward"):
            start = min(start, place)
        if child.tag == "note" and child.find("chord") is None and cursor <= at and (
                best is None or cursor > best[0]):
            best = (cursor, place)
        cursor = max(cursor + step(child), 0)
    here, place = best or (Fraction(0), start)
    for shift, direction in enumerate(made):
        if at != here:
            put(direction, element("offset", number(at - here)))
        measure.insert(place + shift, direction)
