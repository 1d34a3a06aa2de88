"""How the levers of a lever harp stand before the piece, and when which one is moved."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from arranger.model.harp import HarpString, pedal_word


@dataclass(frozen=True, slots=True)
class LeverMove:
    """One lever flipped by the left hand, from ``onset`` (quarter notes) on; alters of the string.

    ``seconds`` from the start of the written score.
    """

    onset: Fraction
    seconds: float
    string: HarpString
    before: int
    after: int


@dataclass(frozen=True, slots=True)
class LeverPlan:
    """What every string stands at before the piece, and the moves in order."""

    opening: Mapping[HarpString, int] = field(default_factory=dict)
    moves: tuple[LeverMove, ...] = ()

    def at(self, onset: Fraction) -> dict[HarpString, int]:
        """Alter of every string from ``onset`` on."""
        standing = dict(self.opening)
        for move in self.moves:
            if move.onset > onset:
                break
            standing[move.string] = move.after
        return standing


def setting_words(opening: Mapping[HarpString, int]) -> str:
    """Return ``C♮ D♮ E♭ F♯ G♮ A♮ B♭; but F♮4 (C4 = middle C)``, letter by letter.

    A letter is said as most of its strings stand, on a tie as the lowest of them; the others are
    named by their octave.
    """
    letters: dict[str, Counter[int]] = {}
    for string, alter in sorted(opening.items()):
        letters.setdefault(string.step, Counter())[alter] += 1
    usual = {step: count.most_common(1)[0][0] for step, count in letters.items()}
    said = " ".join(pedal_word(step, usual[step]) for step in "CDEFGAB" if step in usual)
    others = [f"{pedal_word(s.step, a)}{s.octave}" for s, a in sorted(opening.items())
              if a != usual[s.step]]
    return f"{said}; but {', '.join(others)} (C4 = middle C)" if others else said


def transposition_words(semitones: int, fifths: int) -> str:
    """Return ``down 1 (2 flats)`` or ``up 3 (no sign)``: semitones, and the key that results."""
    sign = "sharp" if fifths > 0 else "flat"
    count = abs(fifths)
    key = f"{count} {sign}{'s' if count > 1 else ''}" if count else "no sign"
    return f"{'down' if semitones < 0 else 'up'} {abs(semitones)} ({key})"
