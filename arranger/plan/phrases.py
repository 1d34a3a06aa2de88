"""Phrases: stretches of bars of one texture, within which every part keeps its role."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from arranger.model.ensemble import PartId
from arranger.model.score import Measure, Note
from arranger.rulebook.reduction import Reduction


@dataclass(frozen=True, slots=True)
class Phrase:
    """Bars ``first`` to ``last`` (indices, both within), from ``start`` to ``end`` in quarters."""

    first: int
    last: int
    start: Fraction
    end: Fraction


def phrases(lines: Mapping[PartId, Sequence[Note]], measures: Sequence[Measure],
            rules: Reduction) -> tuple[Phrase, ...]:
    """Cut the bars where the texture changes, where all parts rest, and where a phrase is long.

    Parameters
    ----------
    lines : the notes of each part, without grace notes.
    measures : all bars.
    """
    if not measures:
        return ()
    busy = _busy(lines, len(measures))
    breath = _breaths(lines, measures, Fraction(rules.number("phrases", "rest_beats")))
    novelty, longest = rules.number("phrases", "novelty"), rules.number("phrases", "most_bars")
    cuts = [0]
    for bar in range(1, len(measures)):
        changed = len(busy[bar] ^ busy[bar - 1]) / max(1, len(busy[bar] | busy[bar - 1]))
        if bar in breath or changed >= novelty or bar - cuts[-1] >= longest:
            cuts.append(bar)
    ends = [*cuts[1:], len(measures)]
    return tuple(Phrase(first, after - 1, measures[first].onset,
                        measures[after - 1].onset + measures[after - 1].duration)
                 for first, after in zip(cuts, ends, strict=True))


def _busy(lines: Mapping[PartId, Sequence[Note]], bars: int) -> list[frozenset[PartId]]:
    """Parts that strike a note in each bar."""
    found: list[set[PartId]] = [set() for _ in range(bars)]
    for part, notes in lines.items():
        for note in notes:
            found[note.measure].add(part)
    return [frozenset(parts) for parts in found]


def _breaths(lines: Mapping[PartId, Sequence[Note]], measures: Sequence[Measure],
             rest: Fraction) -> frozenset[int]:
    """Bars before whose first note all parts rest for ``rest`` beats."""
    found = set()
    reach = Fraction(0)
    for note in sorted((n for notes in lines.values() for n in notes), key=lambda n: n.onset):
        beat = Fraction(4, measures[note.measure].beat_type)
        if note.onset - reach >= rest * beat and reach:
            found.add(note.measure)
        reach = max(reach, note.end)
    return frozenset(found)
