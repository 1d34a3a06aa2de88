"""How long strings ring: the level left of a plucked string after some time (numbers: rule P2)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from arranger.rulebook.rules import rule

_RULE = rule("P2")
_FREQUENCY = 440.0 * 2.0 ** ((np.arange(128) - 69) / 12.0)
#: Seconds to fall by 60 dB, by MIDI pitch. The fit is good to about a third; the ear accepts errors
#: of 75-140 % in decay times (Jarvelainen & Tolonen 2001, JAES).
T60: npt.NDArray[np.float64] = np.minimum(
    _RULE.number("longest_seconds"),
    _RULE.number("middle_seconds")
    * (_RULE.number("middle_hertz") / _FREQUENCY) ** _RULE.number("exponent"))
#: Level, of 1 at the pluck, under which a pedal moved on the string is not heard.
AUDIBLE = 10.0 ** (_RULE.number("audible_decibels") / 20.0)


def level(midi: npt.NDArray[np.int64], age: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Amplitude left of strings plucked ``age`` seconds ago at full level; 0 if never (inf)."""
    return np.asarray(10.0 ** (-3.0 * age / T60[midi]))


def level_of(midi: int, age: float) -> float:
    """Amplitude left of one string, as ``level``."""
    left: float = 10.0 ** (-3.0 * age / float(T60[midi]))
    return left
