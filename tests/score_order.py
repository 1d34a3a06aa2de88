"""The order in which bars are played: repeats, endings, jumps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(slots=True)
class Flow:
    """Signs of one bar that steer the order of playing."""

    forward: bool = False
    backward: int = 0  # times, 0 = none
    starts: frozenset[int] = frozenset()
    stops: bool = False
    segno: bool = False
    coda: bool = False
    fine: bool = False
    tocoda: bool = False
    dacapo: bool = False
    dalsegno: bool = False
    final: bool = False  # closes with a final barline
    trio: bool = False


def _endings(flow: list[Flow]) -> list[frozenset[int]]:
    """Numbers of the ending each bar stands in; empty outside endings."""
    found: list[frozenset[int]] = []
    current: frozenset[int] = frozenset()
    for here in flow:
        current = here.starts or current
        found.append(current)
        if here.stops or here.backward:
            current = frozenset()
    return found


def played(flow: list[Flow], numbers: Sequence[str]) -> tuple[int, ...]:
    """Order of playing, each movement by itself: a movement begins where the printed numbers
    start again after a final barline.
    """
    starts = [i for i in range(len(numbers))
              if i == 0 or (flow[i - 1].final and numbers[i] in ("0", "1") and not flow[i].trio)]
    stops = [*starts[1:], len(numbers)]
    return tuple(start + bar for start, stop in zip(starts, stops, strict=True)
                 for bar in playing_order(flow[start:stop]))


def playing_order(flow: list[Flow]) -> tuple[int, ...]:
    """Bar indices as played: repeats and endings, one jump back; no repeats after the jump."""
    endings = _endings(flow)
    order: list[int] = []
    at = start = 0
    turn, jumped = 1, False
    while at < len(flow) and len(order) < 20 * len(flow) + 20:
        here = flow[at]
        if here.forward and at != start:
            start, turn = at, 1
        numbers = endings[at]
        if numbers and (at == 0 or endings[at - 1] != numbers or here.starts):
            wanted = max(_group(endings, at)) if jumped else turn
            if wanted not in numbers:
                at = _after_ending(flow, endings, at)
                continue
        order.append(at)
        passes = max(here.backward, max(_group(endings, at), default=0)) if here.backward else 0
        if here.backward and not jumped and turn < passes:
            turn, at = turn + 1, start
            continue
        leaves = numbers and (at + 1 >= len(flow) or not endings[at + 1])
        if here.backward or leaves:
            start, turn = at + 1, 1
        before_trio = at + 1 < len(flow) and flow[at + 1].trio and not any(f.fine for f in flow)
        if jumped and (here.fine or before_trio):
            break
        if jumped and here.tocoda:
            coda = [i for i in range(at + 1, len(flow)) if flow[i].coda]
            at = coda[0] if coda else at + 1
            continue
        if (here.dacapo or here.dalsegno) and not jumped:
            segno = [i for i in range(at + 1) if flow[i].segno]
            jumped = True
            at = segno[-1] if here.dalsegno and segno else 0
            continue
        at += 1
    return tuple(order)


def _group(endings: list[frozenset[int]], at: int) -> frozenset[int]:
    """All numbers of the run of endings that bar ``at`` belongs to."""
    if not endings[at]:
        return frozenset()
    low = at
    while low > 0 and endings[low - 1]:
        low -= 1
    numbers: set[int] = set()
    while low < len(endings) and endings[low]:
        numbers |= endings[low]
        low += 1
    return frozenset(numbers)


def _after_ending(flow: list[Flow], endings: list[frozenset[int]], at: int) -> int:
    """First bar after the ending that begins at bar ``at``."""
    numbers = endings[at]
    at += 1
    while at < len(flow) and endings[at] == numbers and not flow[at].starts:
        at += 1
    return at
