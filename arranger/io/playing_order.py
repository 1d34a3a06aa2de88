"""The order in which written bars are performed: repeats, endings, da capo, dal segno, coda.

Conventions (common practice): a repeat without a number is played twice; after a da capo or dal
segno repeats are not taken, the last ending is played, and ``fine`` and ``to coda`` come into
force; each jump is made once. Movements are played each by itself: one begins where the printed
numbers start again after a final bar line, unless a trio does. A da capo from a trio without a
``fine`` ends where the trio began.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from lxml import etree

from arranger.rulebook.score_words import Jump, jumps_said

Kind = Literal["forward", "backward", "ending", "segno", "coda", "final", "movement"] | Jump
MOST_TIMES = 100


@dataclass(frozen=True, slots=True)
class Sign:
    """A sign found in bar ``bar`` (index from 0).

    ``value`` is the number of times for ``backward``, a number of a pass for ``ending``.
    """

    bar: int
    kind: Kind
    value: int = 0


@dataclass(frozen=True, slots=True)
class Flow:
    """All signs of one bar; ``times`` is 0 where no repeat ends."""

    forward: bool = False
    times: int = 0
    endings: frozenset[int] = frozenset()
    segno: bool = False
    coda: bool = False
    tocoda: bool = False
    fine: bool = False
    dacapo: bool = False
    dalsegno: bool = False
    final: bool = False
    movement: bool = False
    trio: bool = False


def read_barline(barline: etree._Element, bar: int) -> list[Sign]:
    """Read the repeat of a barline; ValueError for a number of times that makes no sense."""
    repeat = barline.find("repeat")
    final = barline.findtext("bar-style", "").strip() == "light-heavy"
    if repeat is None:
        return [Sign(bar, "final")] if final else []
    if repeat.get("direction") == "forward":
        return [Sign(bar, "forward")]
    times = repeat.get("times", "2").strip()
    if not times.isascii() or not times.isdigit() or not 0 < int(times[:9]) <= MOST_TIMES:
        raise ValueError(f"a repeat played {times[:20]!r} times makes no sense")
    return [Sign(bar, "backward", int(times)), *([Sign(bar, "final")] if final else [])]


def ending_numbers(ending: etree._Element) -> tuple[int, ...]:
    """Return the passes an ending is for: ``1``, ``1, 2`` or ``1-3``."""
    passes: set[int] = set()
    for first, last in re.findall(r"(\d{1,3})(?:\s*-\s*(\d{1,3}))?", ending.get("number", "")):
        passes.update(range(int(first), int(last or first) + 1))
    return tuple(sorted(n for n in passes if 0 < n <= MOST_TIMES))


def read_sound(sound: etree._Element, bar: int) -> list[Sign]:
    """Read the jumps and marks that ``<sound>`` names."""
    kinds: tuple[Kind, ...] = ("segno", "coda", "tocoda", "fine", "dacapo", "dalsegno")
    return [Sign(bar, kind) for kind in kinds if sound.get(kind, "no") != "no"]


def read_direction(direction: etree._Element, bar: int) -> list[Sign]:
    """Read a direction: its sound, or else its segno, coda and words such as *D.C. al Fine*."""
    signs = [s for sound in direction.iterchildren("sound") for s in read_sound(sound, bar)]
    if signs:
        return signs
    for child in direction.iterfind("direction-type/*"):
        if child.tag == "segno":
            signs.append(Sign(bar, "segno"))
        elif child.tag == "coda":
            signs.append(Sign(bar, "coda"))
        elif child.tag == "words":
            signs += [Sign(bar, kind) for kind in jumps_said(child.text or "")]
    return signs


def flows(signs: Iterable[Sign], numbers: Sequence[str]) -> tuple[Flow, ...]:
    """Gather signs by bar, by their printed ``numbers``; those of several parts count once."""
    gathered: list[dict[str, Any]] = [{} for _ in numbers]
    signs = tuple(signs)
    finals = {sign.bar for sign in signs if sign.kind == "final"}
    movements = [Sign(at, "movement") for at, number in enumerate(numbers)
                 if at - 1 in finals and number in ("0", "1")]
    for sign in _with_departure((*signs, *movements)):
        here = gathered[sign.bar]
        if sign.kind == "backward":
            here["times"] = max(here.get("times", 0), sign.value)
        elif sign.kind == "ending":
            here["endings"] = here.get("endings", frozenset()) | {sign.value}
        else:
            here[sign.kind] = True
    return tuple(Flow(**found) for found in gathered)


def _with_departure(signs: tuple[Sign, ...]) -> tuple[Sign, ...]:
    """Of two coda signs without a *to coda*, the first is where to leave from."""
    codas = sorted({sign.bar for sign in signs if sign.kind == "coda"})
    if len(codas) < 2 or any(sign.kind == "tocoda" for sign in signs):
        return signs
    return tuple(Sign(s.bar, "tocoda") if s.kind == "coda" and s.bar == codas[0] else s
                 for s in signs)


def playing_order(bars: Sequence[Flow]) -> tuple[int, ...]:
    """Return bar indices as performed.

    Ends for any input: a repeat is taken ``times - 1`` times, a da capo or dal segno once.
    """
    starts = [i for i, bar in enumerate(bars) if i == 0 or (bar.movement and not bar.trio)]
    return tuple(first + at for first, after in zip(starts, [*starts[1:], len(bars)], strict=True)
                 for at in _order(bars[first:after]))


def _order(bars: Sequence[Flow]) -> Sequence[int]:
    """Bar indices of one movement as performed."""
    if not any(bar != Flow() for bar in bars):
        return range(len(bars))
    return _Performance(bars).run()


class _Performance:
    """State of one play-through: where the repeated section starts and which pass it is."""

    def __init__(self, bars: Sequence[Flow]) -> None:
        self.bars = bars
        self.start = 0
        self.turn = 1  # pass through the section, from 1
        self.jumped = False

    def run(self) -> list[int]:
        order: list[int] = []
        at = 0
        while at < len(self.bars):
            bar = self.bars[at]
            self._enter(at)
            if bar.endings and not self._plays(at):
                at += 1
                continue
            order.append(at)
            after = self._after(at)
            if after is None:
                break
            at = after
        return order

    def _enter(self, at: int) -> None:
        left_endings = at > 0 and self.bars[at - 1].endings and not self.bars[at].endings
        if (self.bars[at].forward or left_endings) and at != self.start:
            self.start, self.turn = at, 1

    def _plays(self, at: int) -> bool:
        endings = self.bars[at].endings
        if self.jumped:
            return max(endings) == self._last_ending(at)
        return self.turn in endings

    def _last_ending(self, at: int) -> int:
        first = last = at
        while first > 0 and self.bars[first - 1].endings:
            first -= 1
        while last + 1 < len(self.bars) and self.bars[last + 1].endings:
            last += 1
        return max(max(bar.endings) for bar in self.bars[first:last + 1])

    def _after(self, at: int) -> int | None:
        bar = self.bars[at]
        if bar.times and not self.jumped and self._again(at):
            self.turn += 1
            return self.start
        if bar.times:
            self.start, self.turn = (self.start, self.turn) if bar.endings else (at + 1, 1)
        if self.jumped:
            if bar.fine or (at + 1 < len(self.bars) and self.bars[at + 1].trio
                            and not any(b.fine for b in self.bars)):
                return None
            coda = self._coda(at + 1)
            return coda if bar.tocoda and coda is not None else at + 1
        if bar.dacapo or bar.dalsegno:
            self.jumped = True
            signs = range(at, -1, -1) if bar.dalsegno else ()  # one to come is no way back
            return next((i for i in signs if self.bars[i].segno), 0)
        return at + 1

    def _again(self, at: int) -> bool:
        if self.bars[at].endings:
            return self.turn < max(self.bars[at].times, self._last_ending(at))
        return self.turn < self.bars[at].times

    def _coda(self, first: int) -> int | None:
        return next((i for i in range(first, len(self.bars)) if self.bars[i].coda), None)
