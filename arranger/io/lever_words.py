"""Lever marks as words in a part: how they are written, and how they are known again.

The setting before the piece stands once at the head. A change within the piece is the new pitch
with its octave, where the hand flips the lever.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from arranger.model.harp import HarpString, pedal_word
from arranger.model.levers import LeverMove, setting_words

_HEAD = "levers: "
_MOVE = re.compile(r"lever [A-G][♯♮♭]\d(?:, [A-G][♯♮♭]\d)*")


def opening_words(opening: Mapping[HarpString, int]) -> str:
    """Return ``levers: C♮ D♮ E♭ F♯ G♮ A♮ B♭; but F♮4 (C4 = middle C)``."""
    return _HEAD + setting_words(opening)


def move_words(moves: Iterable[LeverMove]) -> str:
    """Return ``lever F♯4`` for the moves of one moment."""
    return "lever " + ", ".join(f"{pedal_word(m.string.step, m.after)}{m.string.octave}"
                                for m in moves)


def is_lever_text(text: str) -> bool:
    """Tell whether a text was written by one of the functions above."""
    plain = " ".join(text.split())
    return plain.startswith(_HEAD) or bool(_MOVE.fullmatch(plain))
