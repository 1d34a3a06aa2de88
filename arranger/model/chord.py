"""Chord symbols: the notes one names, from where on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from arranger.model.pitch import SEMITONES, STEPS, Pitch

#: Semitones of the degrees of the major scale over its first.
_MAJOR = (0, 2, 4, 5, 7, 9, 11)


@dataclass(frozen=True, slots=True, order=True)
class Tone:
    """A note of a chord in no octave: its letter and its alteration in semitones."""

    step: str
    alter: int

    @property
    def pitch_class(self) -> int:
        """Pitch class 0-11, C = 0."""
        return (SEMITONES[self.step] + self.alter) % 12

    def at(self, octave: int) -> Pitch:
        """Return the tone in an octave."""
        return Pitch(self.step, self.alter, octave)

    def degree(self, degree: int, alter: int) -> Tone:
        """Return a degree of the major scale over this tone, ``alter`` semitones from it."""
        place = STEPS.index(self.step) + degree - 1
        step = STEPS[place % 7]
        over = self.pitch_class + _MAJOR[(degree - 1) % 7] + alter
        return Tone(step, (over - SEMITONES[step] + 6) % 12 - 6)


@dataclass(frozen=True, slots=True)
class ChordSymbol:
    """A chord symbol in force from ``onset`` (quarter notes) on.

    ``tones`` by degree (1 root, 3 third, 5 fifth ...); none where no chord is to sound. ``bass``:
    the lowest note, None without tones. ``unknown``: the kind as written where it is none of the
    standard's, and the major triad stands for it.
    """

    onset: Fraction
    tones: Mapping[int, Tone] = field(default_factory=dict)
    bass: Tone | None = None
    unknown: str = ""
