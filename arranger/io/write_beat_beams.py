"""Beams of one voice by the beat: what a reader expects where no beams are given."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from lxml import etree

from arranger.io.write_order import element, put
from arranger.model.score import Measure

Stem = tuple[Fraction, Fraction, etree._Element]  # onset and length in quarter notes, head
_FLAGS = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4, "128th": 5}


def beam(stems: Sequence[Stem], bar: Measure) -> None:
    """Write the beams of one voice in one bar; old ones must be gone.

    A beam keeps to a beat, in compound metre to a dotted one; plain quavers go on to half a bar
    of four beats and to the whole bar of two or three (common practice).
    """
    metre = Fraction(4 * bar.beats, bar.beat_type)
    early = metre - bar.duration if bar.index == 0 and bar.duration < metre else Fraction(0)
    for group in _groups(stems, bar, metre, early):
        if len(group) > 1:
            _write(group)


def flags(note: etree._Element) -> int:
    """Number of flags of a note; 0 for a rest."""
    return 0 if note.find("rest") is not None else _FLAGS.get(note.findtext("type") or "", 0)


def _groups(stems: Sequence[Stem], bar: Measure, metre: Fraction,
            early: Fraction) -> Iterator[list[Stem]]:
    beat = Fraction(3, 2) if bar.beat_type >= 8 and bar.beats % 3 == 0 else Fraction(1)
    if bar.beat_type == 16 and beat > 1:
        beat = Fraction(3, 4)
    wide = {Fraction(4): Fraction(2), Fraction(2): Fraction(2), Fraction(3): Fraction(3)}.get(
        metre, beat) if beat == 1 else beat
    plain = {(o + early) // wide for o, _, n in stems} - {
        (o + early) // wide for o, v, n in stems
        if flags(n) != 1 or v != Fraction(1, 2) or (o + early) % Fraction(1, 2)}
    group: list[Stem] = []
    for stem in stems:
        if group and (not flags(stem[2]) or group[-1][0] + group[-1][1] != stem[0]
                      or _unit(group[-1][0] + early, wide, beat, plain)
                      != _unit(stem[0] + early, wide, beat, plain)):
            yield group
            group = []
        if flags(stem[2]):
            group.append(stem)
    yield group


def _unit(at: Fraction, wide: Fraction, beat: Fraction, plain: set[int]) -> tuple[int, int]:
    large = at // wide
    return (large, -1) if large in plain else (large, at // beat)


def _write(group: list[Stem]) -> None:
    counts = [flags(n) for _, _, n in group]
    for level in range(1, max(counts) + 1):
        for at, (_, _, note) in enumerate(group):
            if counts[at] < level:
                continue
            before = at > 0 and counts[at - 1] >= level
            after = at + 1 < len(group) and counts[at + 1] >= level
            state = {(True, True): "continue", (True, False): "end", (False, True): "begin",
                     (False, False): "backward hook" if at else "forward hook"}[before, after]
            put(note, element("beam", state, number=str(level)))
