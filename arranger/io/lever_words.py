"""Lever marks as words in a part: how they are written, and how others' are read.

The setting before the piece stands once at the head. A change within the piece is the new pitch
with its octave, where the hand flips the lever. A text of another hand is a lever mark if it says
``lever`` and then nothing but pitches; without that word ``Bb7`` may as well name a chord.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from arranger.model.harp import HarpString, pedal_word
from arranger.model.levers import LeverMove, setting_words
from arranger.model.marks import LeverSign

_HEAD = "levers: "
_NAMED = re.compile(r"(?:(?:set|move|flip|change)(?: the)? )?levers?(?: changes?)?(?: ?: ?| )",
                    re.IGNORECASE)
_MIDDLE_C = re.compile(r"\(\s*C4 ?= ?middle C\s*\)", re.IGNORECASE)
_PITCH = re.compile(r"([A-G])(?: ?([♯#♮n♭b]))?(\d)?")
_BREAK = re.compile(r"(?:[\s,;/+·.()\[\]–—-]|\b(?:and|but)\b)+")
_ALTER = {"♯": 1, "#": 1, "♮": 0, "n": 0, "♭": -1, "b": -1}


def opening_words(opening: Mapping[HarpString, int]) -> str:
    """Return ``levers: C♮ D♮ E♭ F♯ G♮ A♮ B♭; but F♮4 (C4 = middle C)``."""
    return _HEAD + setting_words(opening)


def move_words(moves: Iterable[LeverMove]) -> str:
    """Return ``lever F♯4`` for the moves of one moment."""
    return "lever " + ", ".join(f"{pedal_word(m.string.step, m.after)}{m.string.octave}"
                                for m in moves)


def read_lever_text(text: str) -> tuple[LeverSign, ...]:
    """Return the levers a text sets, in its order; empty if it is anything but a lever mark.

    A letter without a sign is natural, one without a number says no octave.
    """
    plain = " ".join(_MIDDLE_C.sub(" ", text).split()) + " "
    head = _NAMED.match(plain)
    at = head.end() if head else len(plain)
    found: list[LeverSign] = []
    while at < len(plain):
        gap = _BREAK.match(plain, at)
        at = gap.end() if gap else at
        if at == len(plain):
            break
        pitch = _PITCH.match(plain, at)
        if pitch is None or plain[pitch.end():pitch.end() + 1].isalnum():
            return ()
        found.append(LeverSign(pitch[1], _ALTER.get(pitch[2], 0),
                               int(pitch[3]) if pitch[3] else None))
        at = pitch.end()
    return tuple(found)
