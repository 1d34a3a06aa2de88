"""The inner loop of ``pedal_path``: what every setting of the pedals costs some notes."""

from __future__ import annotations

import numpy as np

from arranger.search.board import INFINITE, Table
from arranger.search.compiled import compiled


@compiled
def demanded(states: Table, demands: Table) -> Table:
    """Price of each setting (a row of ``states``: seven positions) for notes that are to sound.

    ``demands``: a row (pedal, position, price) a way of a note, the last of each note, with pedal
    -1, that of leaving it out.
    """
    out = np.zeros(len(states), dtype=np.int32)
    for s in range(len(states)):
        best = INFINITE
        for d in range(len(demands)):
            pedal = demands[d, 0]
            if pedal < 0:
                out[s] += min(best, demands[d, 2])
                best = INFINITE
            elif states[s, pedal] == demands[d, 1]:
                best = min(best, demands[d, 2])
    return out
