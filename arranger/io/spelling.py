"""Names for pitches that come as numbers: which of its names a note of MIDI has in its key.

D. Meredith, "The ps13 pitch spelling algorithm", Journal of New Music Research 35 (2006), stage 1:
every note takes the letter it has in the keys whose tonics are common around it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from arranger.model.pitch import SEMITONES, SIGNS, Pitch

#: Notes of context before (the note itself with them) and after: the values Meredith found best.
BEFORE, AFTER = 10, 42
_LETTERS = "ABCDEFG"
#: Steps of the harmonic chromatic scale on a tonic, and of the first note above A (Meredith 2006).
_STEPS = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)
_FIRST = (0, 1, 1, 2, 2, 3, 4, 4, 5, 5, 6, 6)
_FIFTHS = {letter: at for at, letter in enumerate("FCGDAEB", -1)}
_MIDDLE = 2  # place of D on the line of fifths, with as many sharps as flats on either side


def spelled(midis: Sequence[int]) -> tuple[Pitch, ...]:
    """Return a spelled pitch for each note, in order of time (from the lowest at one moment)."""
    if not midis:
        return ()
    chromas = [(midi - 69) % 12 for midi in midis]
    first = _FIRST[chromas[0]]
    tonic_steps = [(first - _STEPS[(chromas[0] - tonic) % 12]) % 7 for tonic in range(12)]
    around = Counter(chromas[:AFTER])
    letters = []
    for at, chroma in enumerate(chromas):
        if at + AFTER - 1 < len(chromas) and at:
            around[chromas[at + AFTER - 1]] += 1
        if at >= BEFORE + 1:
            around[chromas[at - BEFORE - 1]] -= 1
        strength = [0] * 7
        for tonic, count in around.items():
            strength[(_STEPS[(chroma - tonic) % 12] + tonic_steps[tonic]) % 7] += count
        letters.append(max(range(7), key=lambda step: (strength[step], -step)))
    best = min((-1, 0, 1), key=lambda turn: (_off(midis, letters, turn), abs(turn)))
    return tuple(_pitch(midi, letter + best) or _plain(midi)
                 for midi, letter in zip(midis, letters, strict=True))


def _pitch(midi: int, letter: int) -> Pitch | None:
    """The pitch on a letter, if it needs no more than two signs."""
    step = _LETTERS[letter % 7]
    alter = (midi - SEMITONES[step] + 6) % 12 - 6
    if alter not in SIGNS:
        return None
    return Pitch(step, alter, (midi - alter - SEMITONES[step]) // 12 - 1)


def _plain(midi: int) -> Pitch:
    found = _pitch(midi, _FIRST[(midi - 69) % 12])
    assert found is not None
    return found


def _off(midis: Sequence[int], letters: Sequence[int], turn: int) -> int:
    """How far the whole lies from D on the line of fifths, the letters moved by ``turn``."""
    places = [_FIFTHS[p.step] + 7 * p.alter if (p := _pitch(midi, letter + turn)) else 99
              for midi, letter in zip(midis, letters, strict=True)]
    return sum(abs(place - _MIDDLE) for place in places)
