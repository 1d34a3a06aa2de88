"""Barlines at which the playing order jumps: the pedals must stand alike on both sides.

One set of marks is written for all passes, so where bar ``b`` can follow bar ``a`` out of order,
the barline after ``a`` and the one before ``b`` share one setting.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from arranger.model.score import Score


def barline_groups(score: Score) -> tuple[tuple[int, ...], ...]:
    """Groups of bar indices whose opening barlines share a setting (last index: the end)."""
    parent: dict[int, int] = {}

    def root(bar: int) -> int:
        parent.setdefault(bar, bar)
        while parent[bar] != bar:
            bar = parent[bar]
        return bar

    for before, after in score.jumps:
        low, high = sorted((root(before + 1), root(after)))
        parent[high] = low
    groups: dict[int, list[int]] = {}
    for bar in sorted(parent):
        groups.setdefault(root(bar), []).append(bar)
    return tuple(tuple(g) for g in groups.values())


def barline(score: Score, bar: int) -> Fraction:
    """Onset of the barline before a bar; the end of the piece for the index past the last."""
    if bar < len(score.measures):
        return score.measures[bar].onset
    last = score.measures[-1]
    return last.onset + last.duration


def barlines(score: Score, groups: Sequence[Sequence[int]]) -> tuple[tuple[Fraction, ...], ...]:
    """Onsets of the barlines of every group."""
    return tuple(tuple(barline(score, bar) for bar in group) for group in groups)
