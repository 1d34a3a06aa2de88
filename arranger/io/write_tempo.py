"""The tempo a draft was planned at, where the source says it in words only."""

from __future__ import annotations

from lxml import etree

from arranger.io.write_divisions import divisions_by_measure, number
from arranger.io.write_order import element
from arranger.io.write_pedals import insert
from arranger.model.score import Score


def write_tempo(part: etree._Element, score: Score) -> None:
    """Write a ``<sound tempo>`` for every tempo read from a word.

    So every later reader, and a player's sound, takes the time the pedals were planned in.
    """
    rows = list(divisions_by_measure(part))
    for mark in reversed(score.tempo.marks):
        if mark.origin != "word":
            continue
        bar = score.measure_at(mark.onset)
        measure, divisions = rows[min(bar.index, len(rows) - 1)]
        sound = element("sound", None, tempo=number(mark.bpm))
        insert(measure, (mark.onset - bar.onset) * divisions, [sound])
