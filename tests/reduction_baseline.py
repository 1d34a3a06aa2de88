"""The plain reduction to be beaten: outer voices, and of the rest what the two hands hold.

Not in the product. At each onset the highest and the lowest note struck stay; then, from the top
down, every note that one hand still takes within four fingers and a tenth.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Protocol, TypeVar

_FINGERS, _TENTH = 4, 9
#: Seconds in which one string is not struck twice (assumption, as for the drafts), and the pitch
#: classes that no second string sounds (computed: seven letters, three semitones each).
_AGAIN, _LONE = 0.10, (2, 7, 9)


class _Sound(Protocol):
    @property
    def onset(self) -> Fraction: ...
    @property
    def midi(self) -> int: ...


N = TypeVar("N", bound=_Sound)


def outer_voices(notes: Iterable[N], position) -> list[tuple[N, str]]:  # type: ignore[no-untyped-def]
    """Return the notes kept with their hand; ``position`` gives the diatonic place of a note."""
    by_onset: dict[Fraction, dict[int, N]] = {}
    for note in notes:
        by_onset.setdefault(note.onset, {}).setdefault(note.midi, note)
    kept: list[tuple[N, str]] = []
    for struck in by_onset.values():
        ordered = [struck[midi] for midi in sorted(struck, reverse=True)]
        right, left = [ordered[0]], [ordered[-1]] if len(ordered) > 1 else []
        for note in ordered[1:-1]:
            if len(right) < _FINGERS and position(right[0]) - position(note) <= _TENTH:
                right.append(note)
            elif len(left) < _FINGERS and position(note) - position(left[0]) <= _TENTH:
                left.append(note)
        kept += [(n, "R") for n in right] + [(n, "L") for n in left]
    return kept


def in_time(notes: Sequence[N], seconds: float) -> list[N]:
    """Leave out of the baseline what no string can give, a quarter note lasting ``seconds``.

    Two strings in turn serve one pitch wherever there are two, whatever the pedals would say.
    """
    kept: list[N] = []
    struck: dict[int, list[Fraction]] = {}
    for note in sorted(notes, key=lambda n: n.onset):
        last = struck.setdefault(note.midi, [])
        strings = 1 if note.midi % 12 in _LONE else 2
        if len(last) < strings or float(note.onset - last[-strings]) * seconds >= _AGAIN:
            last.append(note.onset)
            kept.append(note)
    return kept


def as_harp(notes: Sequence[N], position) -> list[N]:  # type: ignore[no-untyped-def]
    """The baseline as notes of the judge, staff 1 the right hand."""
    return [replace(n, staff=1 if hand == "R" else 2)  # type: ignore[type-var]
            for n, hand in outer_voices(notes, position)]
