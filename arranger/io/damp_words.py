"""The words beside a damping sign: which strings are to be damped."""

from __future__ import annotations

import re

from arranger.model.draft import Damp

_NAMED = re.compile(r"damp (?:low )?([A-G](?:, [A-G])*)")


def damp_words(damp: Damp) -> str:
    """Name the strings to damp, from the lowest up.

    Examples
    --------
    ``damp low C, G`` for what rings into another harmony, ``damp F`` for a pedal that moves: it
    stands beside the sign, and everybody sees which F rings.
    """
    low = "low " if damp.rule == "R2" else ""
    letters = dict.fromkeys(n.pitch.step for n in sorted(damp.notes,
                                                         key=lambda n: n.pitch.position))
    return f"damp {low}{', '.join(letters)}"


def read_damp_words(text: str) -> str:
    """Return the letters that such words name, "" if they are others."""
    found = _NAMED.fullmatch(text.strip())
    return found[1].replace(", ", "") if found else ""
