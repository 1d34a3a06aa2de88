"""How long strings ring: the level left of a plucked string after some time."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

#: T60 in seconds by MIDI pitch: min(12, 4.5 (262 / f) ** 0.8). Assumption: fitted to short samples
#: of one instrument, good to about a third; the ear accepts errors of 75-140 % in decay times
#: (Jarvelainen & Tolonen 2001, JAES).
_FREQUENCY = 440.0 * 2.0 ** ((np.arange(128) - 69) / 12.0)
T60: npt.NDArray[np.float64] = np.minimum(12.0, 4.5 * (262.0 / _FREQUENCY) ** 0.8)
#: Level under which a pedal moved on the string is not heard (assumption: -20 dB).
AUDIBLE = 0.1


def level(midi: npt.NDArray[np.int64], age: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Amplitude left of strings plucked ``age`` seconds ago at full level; 0 if never (inf)."""
    return np.asarray(10.0 ** (-3.0 * age / T60[midi]))
