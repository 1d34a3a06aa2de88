"""Damping marks as directions of the harp part: the sign, and in words what is damped."""

from __future__ import annotations

from lxml import etree

from arranger.io.damp_words import damp_words
from arranger.io.part_marks import read_marks
from arranger.io.write_divisions import divisions_by_measure
from arranger.io.write_order import element
from arranger.io.write_pedals import insert
from arranger.model.draft import Damp, Draft
from arranger.model.score import Score


def write_damps(root: etree._Element, draft: Draft, score: Score) -> None:
    """Write each damping mark of a draft at its hand's staff, where no such sign stands yet."""
    if not draft.damps:
        return
    there = {d.onset for d in read_marks(root, draft.part, score).damps}
    (part,) = [p for p in root.iterfind("part") if p.get("id") == draft.part]
    measures = part.findall("measure")
    divisions = [d for _, d in divisions_by_measure(part)]
    for damp in reversed([d for d in draft.damps if d.onset not in there]):
        bar = score.measure_at(damp.onset)
        at = (damp.onset - bar.onset) * divisions[bar.index]
        insert(measures[bar.index], at, [_direction(damp)])


def _direction(damp: Damp) -> etree._Element:
    made = element("direction", None, placement="below" if damp.hand == "L" else "above")
    for sign in (element("damp"), element("words", damp_words(damp), **{
            "font-size": "8", "font-style": "italic"})):
        kind = element("direction-type")
        kind.append(sign)
        made.append(kind)
    made.append(element("staff", "2" if damp.hand == "L" else "1"))
    return made
