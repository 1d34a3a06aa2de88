"""Spelled pitches in scientific notation (C4 = middle C = MIDI 60)."""

from __future__ import annotations

import re
from dataclasses import dataclass

STEPS = "CDEFGAB"
SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
SIGNS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}
_PLACES = {step: place for place, step in enumerate(STEPS)}
_NAME = re.compile(r"([A-G])(bb|b|##|#|)(-?\d+)")


@dataclass(frozen=True, slots=True, order=True)
class Pitch:
    """A spelled pitch: ``step`` A-G, ``alter`` in semitones (-2..2), ``octave``.

    The octave belongs to the step: Cb5 is the string C5 and sounds as B4 (MIDI 71).
    """

    step: str
    alter: int
    octave: int

    @classmethod
    def parse(cls, name: str) -> Pitch:
        """Read a name such as ``C#5``, ``Bb3`` or ``F##4``; ValueError otherwise."""
        found = _NAME.fullmatch(name)
        if not found:
            raise ValueError(f"not a pitch name: {name!r}")
        step, sign, octave = found.groups()
        alter = next(a for a, s in SIGNS.items() if s == sign)
        return cls(step, alter, int(octave))

    @property
    def midi(self) -> int:
        """MIDI number of the sounding pitch."""
        return 12 * (self.octave + 1) + SEMITONES[self.step] + self.alter

    @property
    def pitch_class(self) -> int:
        """Pitch class 0-11, C = 0."""
        return self.midi % 12

    @property
    def position(self) -> int:
        """Diatonic place of the step: 7 times the octave plus 0-6 for C-B."""
        return 7 * self.octave + _PLACES[self.step]

    @property
    def name(self) -> str:
        """Plain name, for example ``C#5``."""
        return f"{self.step}{SIGNS[self.alter]}{self.octave}"

    @property
    def label(self) -> str:
        """Name for readers, with the proper signs: ``C♯5``."""
        sign = {-2: "𝄫", -1: "♭", 0: "", 1: "♯", 2: "𝄪"}[self.alter]
        return f"{self.step}{sign}{self.octave}"

    def shifted(self, octaves: int) -> Pitch:
        """Return the same spelling some octaves higher (or lower, if negative)."""
        return Pitch(self.step, self.alter, self.octave + octaves)

    def __str__(self) -> str:
        return self.name
