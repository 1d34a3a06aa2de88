"""The playing order as stretches of bars that are played as they are written."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from arranger.model.score import Score
from arranger.plan.slices import clock


@dataclass(frozen=True, slots=True)
class Stretch:
    """Bars ``first`` to ``last`` (indices), played ``later`` seconds later than they are written.

    ``came``: the bar played before where that is not the bar written before.
    """

    first: int
    last: int
    later: float = 0.0
    came: int | None = None


def stretches(score: Score) -> tuple[Stretch, ...]:
    """Stretches in the order they are played; all bars at once where no order is known."""
    order = score.playing_order or range(len(score.measures))
    bounds: list[tuple[int, int]] = []
    for bar in order:
        if bounds and bar == bounds[-1][1] + 1:
            bounds[-1] = (bounds[-1][0], bar)
        else:
            bounds.append((bar, bar))
    if len(bounds) < 2:
        return tuple(Stretch(*b) for b in bounds)
    return tuple(_timed(score, bounds))


def _timed(score: Score, bounds: list[tuple[int, int]]) -> Iterator[Stretch]:
    bars = score.measures
    starts = clock(score.tempo, [bars[first].onset for first, _ in bounds])
    ends = clock(score.tempo, [bars[last].onset + bars[last].duration for _, last in bounds])
    later = 0.0
    yield Stretch(*bounds[0])
    for (_, came), (first, last), end, start in zip(bounds, bounds[1:], ends, starts[1:],
                                                    strict=False):
        later += end - start
        yield Stretch(first, last, later, came)


def within(order: tuple[int, ...], first: int, last: int) -> tuple[int, ...]:
    """Playing order of bars ``first`` to ``last`` alone: jumps out of them are not followed.

    Where the music comes back from elsewhere, bars that were played before are not played again.
    """
    kept: list[int] = []
    seen: set[int] = set()
    away = False
    for bar in order:
        if not first <= bar <= last:
            away = bool(kept)
        elif not away or bar not in seen:
            kept.append(bar)
            seen.add(bar)
            away = False
    return tuple(kept)

