"""Lengths as written values: types, dots and tuplets, and how a stretch of a bar is spelled."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from arranger.io.tempo import NOTE_VALUES
from arranger.model.score import Measure

#: Names of the plain values by their length in quarter notes.
NAMES = {value: name for name, value in NOTE_VALUES.items() if Fraction(1, 32) <= value <= 8}
_PLAIN = tuple(sorted(NAMES, reverse=True))


@dataclass(frozen=True, slots=True)
class Value:
    """A written value: ``length`` in quarter notes, type, dots, and its tuplet (3, 2) or None."""

    length: Fraction
    name: str
    dots: int = 0
    ratio: tuple[int, int] | None = None


def odd_part(number: int) -> int:
    """What is left of a number without its factors of two."""
    while number % 2 == 0:
        number //= 2
    return number


def longest_value(length: Fraction) -> Value | None:
    """Return the longest single value, dotted or not, that is no longer than this.

    A length of thirds or fifths of a beat, shorter than a beat, becomes a value of that tuplet;
    None for a length that is shorter than any value.
    """
    parts = odd_part(length.denominator) if length < 1 else 1
    ratio = (parts, 1 << (parts.bit_length() - 1)) if parts > 1 else None
    nominal = length * Fraction(*ratio) if ratio else length
    for plain in _PLAIN:
        for dots, factor in ((1, Fraction(3, 2)), (0, Fraction(1))):
            if plain * factor <= nominal and (dots == 0 or plain > _PLAIN[-1]):
                worth = plain * factor
                return Value(worth / Fraction(*ratio) if ratio else worth, NAMES[plain], dots,
                             ratio)
    return None


def beat_of(bar: Measure) -> Fraction:
    """Return the beat of a bar in quarter notes, dotted in compound metre (common practice)."""
    return Fraction(3, 2) if bar.beat_type >= 8 and bar.beats % 3 == 0 else Fraction(1)


def spelled(start: Fraction, end: Fraction) -> Iterator[Value]:
    """Cut a stretch of a bar into values as a rest is written: each stands on its own beat.

    ``start`` and ``end`` in quarter notes from the start of the bar. Inside a tuplet the pieces
    are values of that tuplet up to the next beat. What no value names is left out at the end.
    """
    at = start
    while at < end:
        beat = Fraction(at.numerator // at.denominator + 1)
        parts = odd_part(at.denominator)
        if parts == 1 and end < beat:
            parts = odd_part(end.denominator)
        goal = min(end, beat) if parts > 1 else end
        piece = _tuplet_value(parts, goal - at) if parts > 1 else next(
            (Value(v, NAMES[v]) for v in _PLAIN if at % v == 0 and at + v <= goal), None)
        if piece is None:
            return
        yield piece
        at += piece.length


def _tuplet_value(parts: int, room: Fraction) -> Value | None:
    ratio = (parts, 1 << (parts.bit_length() - 1))
    return next((Value(v / Fraction(*ratio), NAMES[v], 0, ratio) for v in _PLAIN
                 if v / Fraction(*ratio) <= room and (room - v / Fraction(*ratio)
                                                      ).denominator <= 64 * parts), None)
