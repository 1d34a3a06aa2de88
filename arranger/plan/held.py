"""Held notes of winds and strings that a plucked string cannot hold: where to strike again."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from arranger.io.held import HeldOn
from arranger.model.score import Note, Score
from arranger.plan.ring import T60

#: So long at least, in quarter notes, a note has to go on to be worth another stroke (assumption).
_LEAST = Fraction(1)


def to_strike_again(score: Score, part: str, held: Sequence[HeldOn]) -> tuple[HeldOn, ...]:
    """Choose the ties at which a note is struck anew, for its string is silent by then.

    A note counts as silent when it has fallen by 60 dB since it was last struck. What is highest
    or lowest at that moment is struck again; all that is held, where nobody else strikes in that
    bar. Only at beats of the bar, and only what still lasts a beat.

    Parameters
    ----------
    held : the places where notes of the part go on, in order of time.
    """
    notes = [n for n in score.part_notes(part) if not n.grace]
    strikes = {(n.onset, n.midi) for n in notes}
    busy = {n.measure for n in notes}
    outer = _Outer(notes).at
    last: dict[tuple[str, int], Fraction] = {}
    chosen: list[HeldOn] = []
    for place in held:
        note, at = place.note, place.onset
        bar = score.measure_at(at)
        stroke = last.get((note.id, note.midi), note.onset)
        if stroke == at:  # a unison of two players: one stroke, both ties go
            chosen.append(place)
            continue
        silent = score.tempo.seconds(at) - score.tempo.seconds(stroke) >= float(T60[note.midi])
        beat = (at - bar.onset) * bar.beat_type / 4
        if (not silent or beat.denominator != 1 or note.end - at < _LEAST
                or (at, note.midi) in strikes):
            continue
        if bar.index not in busy or note.midi in outer(at):
            last[note.id, note.midi] = at
            chosen.append(place)
    return tuple(chosen)


class _Outer:
    """Highest and lowest pitch sounding at moments asked for in order of time."""

    def __init__(self, notes: Sequence[Note]) -> None:
        self._coming = sorted(notes, key=lambda n: n.onset, reverse=True)
        self._sounding: list[Note] = []

    def at(self, moment: Fraction) -> tuple[int, int]:
        """MIDI numbers of the highest and the lowest note."""
        while self._coming and self._coming[-1].onset <= moment:
            self._sounding.append(self._coming.pop())
        self._sounding = [n for n in self._sounding if n.end > moment]
        tones = [n.midi for n in self._sounding]
        return max(tones), min(tones)
