"""Written to sounding pitch: what ``<pitch>`` and ``<transpose>`` say together."""

from __future__ import annotations

from dataclasses import dataclass

from arranger.model.pitch import SEMITONES, STEPS, Pitch

#: Steps that usually go with an interval of 0-11 semitones, where a file gives no ``diatonic``.
_USUAL_STEPS = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)


@dataclass(frozen=True, slots=True)
class Transposition:
    """Interval from written to sounding pitch, octaves included in both numbers."""

    steps: int = 0
    semitones: int = 0

    @classmethod
    def of(cls, chromatic: int, diatonic: int | None, octaves: int) -> Transposition:
        """Build from the three numbers of ``<transpose>``; ``diatonic`` may be missing."""
        if diatonic is None or abs(7 * chromatic - 12 * diatonic) > 24:
            # missing, or further than a double sharp from any interval: the usual spelling
            diatonic = 7 * (chromatic // 12) + _USUAL_STEPS[chromatic % 12]
        return cls(diatonic + 7 * octaves, chromatic + 12 * octaves)

    @property
    def fifths(self) -> int:
        """What the interval adds to a key signature, counted on the line of fifths."""
        return 7 * self.semitones - 12 * self.steps

    def sounding(self, step: str, alter: int, octave: int) -> Pitch:
        """Return the sounding pitch; spellings beyond a double sharp or flat are simplified."""
        position = 7 * octave + STEPS.index(step) + self.steps
        midi = 12 * (octave + 1) + SEMITONES[step] + alter + self.semitones
        while (change := midi - _natural(position)) > 2:
            position += 1
        while (change := midi - _natural(position)) < -2:
            position -= 1
        return Pitch(STEPS[position % 7], change, position // 7)

    def key(self, fifths: int) -> int:
        """Return the sounding key signature, brought into -7..7."""
        sounding = fifths + self.fifths
        while sounding > 7:
            sounding -= 12
        while sounding < -7:
            sounding += 12
        return sounding


def _natural(position: int) -> int:
    return 12 * (position // 7 + 1) + SEMITONES[STEPS[position % 7]]
