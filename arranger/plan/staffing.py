"""Which parts of a phrase lie in which hand: whole lines stay together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from arranger.model.draft import HarpNote
from arranger.model.ensemble import PartId

_FINGERS, _TENTH = 4, 9


def hands_of_lines(lines: Mapping[PartId, Sequence[HarpNote]]) -> dict[PartId, str]:
    """Return R or L for every part: the higher ones right, cut where the hands fit best.

    A finger too many counts five strings of stretch too many (assumption). Of equal cuts the one
    that shares the notes most evenly counts.
    """
    order = sorted((p for p in lines if lines[p]), key=lambda p: (
        -sum(n.pitch.position for n in lines[p]) / len(lines[p]), p))
    if not order:
        return {}
    attacks: list[dict[Fraction, set[int]]] = []
    for part in order:
        mine: dict[Fraction, set[int]] = {}
        for note in lines[part]:
            mine.setdefault(note.onset, set()).add(note.pitch.position)
        attacks.append(mine)
    cut = min(range(len(order) + 1), key=lambda at: _strain(attacks[:at], attacks[at:]))
    if len(order) == 1:
        middle = sum(n.pitch.midi for n in lines[order[0]]) / len(lines[order[0]])
        cut = int(middle >= 60)
    return {part: "R" if rank < cut else "L" for rank, part in enumerate(order)}


def _strain(upper: Sequence[Mapping[Fraction, set[int]]],
            lower: Sequence[Mapping[Fraction, set[int]]]) -> tuple[int, int]:
    strain = sizes = 0
    for sign, hand in ((1, upper), (-1, lower)):
        chords: dict[Fraction, set[int]] = {}
        for line in hand:
            for onset, strings in line.items():
                chords.setdefault(onset, set()).update(strings)
        for strings in chords.values():
            strain += 5 * max(0, len(strings) - _FINGERS)
            strain += max(0, max(strings) - min(strings) - _TENTH)
            sizes += sign * len(strings)
    return strain, abs(sizes)
