"""Where a part is loud: under its last dynamic sign, of whatever staff."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from lxml import etree

#: Dynamic signs under which low strings swing far (assumption).
_LOUD = frozenset({"f", "ff", "fff", "ffff", "fffff", "ffffff", "fp", "sf", "sfp", "sfpp", "sfz",
                   "sffz", "sfzp", "fz"})

Ticks = int | Fraction


@dataclass(frozen=True, slots=True)
class Level:
    """A dynamic sign: its part, bar and ticks into it, and if it is loud."""

    part: str
    bar: int
    at: Ticks
    loud: bool


def read_levels(direction: etree._Element, part: str, bar: int, at: Ticks) -> list[Level]:
    """Return the dynamic signs of a direction that takes effect at ``at``."""
    return [Level(part, bar, at, sign.tag in _LOUD)
            for sign in direction.iterfind("direction-type/dynamics/*")]


class Loudness:
    """Whether the last dynamic sign of a part is loud."""

    def __init__(self, levels: Iterable[tuple[Ticks, bool]]) -> None:
        ordered = sorted(levels, key=lambda level: level[0])
        self._ticks = [ticks for ticks, _ in ordered]
        self._loud = [loud for _, loud in ordered]

    def at(self, ticks: Ticks) -> bool:
        """Tell of a moment; before any sign nothing is loud."""
        last = bisect_right(self._ticks, ticks) - 1
        return last >= 0 and self._loud[last]


def loudness(levels: Sequence[Level], starts: Sequence[Ticks]) -> dict[str, Loudness]:
    """Return that of every part that has signs; ``starts``: ticks of the bars."""
    return {part: Loudness((starts[s.bar] + s.at, s.loud) for s in levels if s.part == part)
            for part in {s.part for s in levels}}
