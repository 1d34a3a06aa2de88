"""Rehearsal marks and double bars: where players begin again, and want to see the pedals."""

from __future__ import annotations

from fractions import Fraction

from lxml import etree

from arranger.model.score import Score

_DOUBLE = frozenset({"light-light", "light-heavy", "heavy-light", "heavy-heavy"})


def rehearsal_marks(root: etree._Element, score: Score) -> tuple[Fraction, ...]:
    """Return the onsets of the bars over which a rehearsal mark stands, in whatever part."""
    return _onsets(score, {index for part in root.iterfind("part")
                           for index, measure in enumerate(part.iterfind("measure"))
                           if measure.find("direction/direction-type/rehearsal") is not None})


def double_bars(root: etree._Element, score: Score) -> tuple[Fraction, ...]:
    """Return the onsets of the bars that follow a double bar without a repeat sign."""
    found = set()
    for part in root.iterfind("part"):
        for index, measure in enumerate(part.iterfind("measure")):
            for line in measure.iterfind("barline"):
                if line.findtext("bar-style") in _DOUBLE and line.find("repeat") is None:
                    found.add(index if line.get("location") == "left" else index + 1)
    return _onsets(score, found)


def _onsets(score: Score, bars: set[int]) -> tuple[Fraction, ...]:
    return tuple(score.measures[bar].onset for bar in sorted(bars) if bar < len(score.measures))
