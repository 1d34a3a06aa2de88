"""Transpositions that leave the singers, or whoever keeps a part, within a range."""

from __future__ import annotations

import re
from dataclasses import dataclass

from arranger.commands.opening import Opened
from arranger.model.errors import ChoiceError
from arranger.model.pitch import Pitch

_RANGE = re.compile(r"([A-G][#b]?\d)-([A-G][#b]?\d)")


@dataclass(frozen=True, slots=True)
class Sung:
    """Lowest and highest note of the kept parts, and the range they are to stay in (MIDI)."""

    low: int
    high: int
    least: int
    most: int

    def fits(self, semitones: int) -> bool:
        """Tell whether every note stays in the range so many semitones away."""
        return self.least <= self.low + semitones and self.high + semitones <= self.most


def sung(text: str, opened: Opened) -> Sung:
    """Read ``--range`` for the parts that are sung, or for all kept parts where none has words.

    Raises
    ------
    ChoiceError
        ``text`` is no range such as C4-F5, or no part is kept.
    """
    found = _RANGE.fullmatch(text)
    least, most = (Pitch.parse(name).midi for name in found.groups()) if found else (1, 0)
    if least > most:
        raise ChoiceError(f"{text!r} is no range; give two notes such as C4-F5")
    root, score = opened.document.root, opened.document.score
    kept = {p.id for p in score.parts if p.id != opened.part}
    worded = {p.get("id") for p in root.iterfind("part")
              if p.find("measure/note/lyric") is not None}
    midis = [n.midi for n in score.notes if n.part in (kept & worded or kept)]
    if not midis:
        raise ChoiceError("--range is for parts that others sing or play, and none is kept; "
                          "name one with --keep")
    return Sung(min(midis), max(midis), least, most)
