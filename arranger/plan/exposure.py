"""Where the texture is thin: what goes wrong there is heard."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from arranger.plan.slices import Slice

#: Notes that sound together at most, as written, in a texture that is thin (assumption).
_THIN = 2


def exposed(parts: Sequence[Slice]) -> list[bool]:
    """Tell of every slice whether at most two notes sound in it, those held from before included.

    A soloist's accompaniment is exposed; the same risk weighs more there (common practice).
    """
    found = []
    sounding: list[Fraction] = []
    for part in parts:
        sounding = [end for end in sounding if end > part.onset]
        sounding += [n.source.end for n in part.notes if not n.source.grace]
        found.append(len(sounding) <= _THIN)
    return found
