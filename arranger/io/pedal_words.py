"""Pedal changes as words in a part: how they are written, and how they are known again.

Letter and sign only, right foot first; a move of two notches stands in a box (harp notation
manual of the Sibelius Academy, "Pedaling": a line or arrow between pitches would be a slide).
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from arranger.model.draft import PedalMove
from arranger.model.harp import LEFT_FOOT, RIGHT_FOOT, HarpString, pedal_word

#: Printed once, at the start of a part that has boxed words.
BOX_EXPLAINED = "boxed: two notches"
#: Words of a hard space keep a box from touching what stands beside it.
SPACE = "\u00a0"
_ALTER = {"♯": 1, "#": 1, "♮": 0, "n": 0, "♭": -1, "b": -1}
_WORD = re.compile(r"([A-G])\s*([♯#♮n♭b])")
_WORDS = re.compile(rf"[\s→]*{_WORD.pattern}(?:[\s,;/|→>-]*(?:{_WORD.pattern}|[♯#♮♭]))*\s*")
_STRING = re.compile(r"\(([A-G])([♯♮♭])\)")
_TUNE = re.compile(r"tune (low|top) ([A-G]) to [A-G][♯♮♭]")


def move_words(moves: Iterable[PedalMove]) -> list[tuple[str, bool]]:
    """Return the words of one moment, right foot first, each with whether it is boxed.

    Moves of one notch share one text (``F♯ C♮``) unless a boxed word stands between them.
    """
    order = RIGHT_FOOT + LEFT_FOOT[::-1]
    ranked = sorted(moves, key=lambda m: (m.foot == "L", order.index(m.pedal)))
    words: list[tuple[str, bool]] = []
    for move in ranked:
        word, boxed = pedal_word(move.pedal, move.after), move.notches > 1
        if words and not boxed and not words[-1][1]:
            words[-1] = (f"{words[-1][0]} {word}", False)
        else:
            words.append((word, boxed))
    return words


def tune_words(string: HarpString, alter: int) -> str:
    """Return the instruction for a string without discs, for example ``tune low C to C♭``."""
    place = "low" if string.octave < 4 else "top"
    return f"tune {place} {string.step} to {pedal_word(string.step, alter)}"


def string_words(step: str, alter: int) -> str:
    """Name the string of a note that is written on another letter, for example ``(A♭)``."""
    return f"({pedal_word(step, alter)})"


def read_string(text: str) -> tuple[str, int] | None:
    """Return the letter and position a text names in brackets; None for any other text."""
    found = _STRING.fullmatch(text.strip())
    return None if found is None else (found[1], _ALTER[found[2]])


def read_moves(text: str) -> dict[str, int]:
    """Return the pedals a text sets, by letter; empty if it is anything but pedal words."""
    if not _WORDS.fullmatch(text):
        return {}
    return {letter: _ALTER[sign] for letter, sign in _WORD.findall(text)}


def is_pedal_text(text: str) -> bool:
    """Tell whether a text is pedal words, their explanation, or tunes or names a string."""
    plain = " ".join(text.split())
    return (bool(read_moves(plain)) or text == SPACE or plain == BOX_EXPLAINED
            or read_string(plain) is not None or bool(_TUNE.fullmatch(plain)))
