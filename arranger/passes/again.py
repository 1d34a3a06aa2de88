"""Leave out notes whose string comes back sooner than any finger, past what the plan looks back on.

The plan of the hands knows the last grip of each hand. A string struck two grips ago and wanted
again within the player's time slips by it where many notes are struck within that time.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from arranger.model.draft import Draft, HarpNote
from arranger.model.ledger import Alteration, Drop
from arranger.model.pins import FREE
from arranger.model.score import NoteId
from arranger.passes.settings import Settings
from arranger.plan.pinned import KEPT
from arranger.plan.roles import roles
from arranger.plan.slices import slices
from arranger.plan.worth import worth

STAGE = "hands"
_EPS = 1e-6


def spare_strings(draft: Draft, settings: Settings) -> tuple[Draft, int]:
    """Return the draft without the notes a finger cannot be back for, and what they are worth.

    Of every string the notes that are worth most together stay (exact, string by string).
    """
    limit = settings.player.restrike_error_seconds
    struck: dict[int, list[tuple[float, HarpNote]]] = {}
    for here in slices([n for n in draft.notes if not n.source.grace], draft.source.tempo):
        for note in here.notes:
            struck.setdefault(note.string.position, []).append((here.seconds, note))
    quick = [row for row in struck.values() if any(
        0 < b - a < limit - _EPS for (a, _), (b, _) in pairwise(row))]
    if not quick:
        return draft, 0
    part_roles = roles(draft.notes)
    values = {n.id: worth(n, part_roles[n.id], settings.prices).drop
              if settings.pins.of(n.id) == FREE else KEPT for row in quick for _, n in row}
    gone = {n.id: n for row in quick for n in _too_many(row, values, limit)}
    made = [Alteration(Drop(n.id), "R1", STAGE, f"{part_roles[n.id].word} {n.pitch.label}: its "
                       f"string is plucked again sooner than {limit:.2f} s before or after")
            for n in gone.values()]
    left = replace(draft, notes=tuple(n for n in draft.notes if n.id not in gone),
                   ledger=draft.ledger.plus(*made))
    return left, sum(values[i] for i in gone)


def _too_many(row: Sequence[tuple[float, HarpNote]], values: Mapping[NoteId, int],
              limit: float) -> list[HarpNote]:
    """Notes of one string that do not belong to the worthiest set that leaves the finger time."""
    times = [time for time, _ in row]
    best = [0]  # of the notes so far
    before = [bisect_right(times, time - limit + _EPS, hi=i) for i, time in enumerate(times)]
    for i, (_, note) in enumerate(row):
        best.append(max(best[i], values[note.id] + best[before[i]]))
    lost, i = [], len(row)
    while i:
        if best[i] == best[i - 1]:
            lost.append(row[i - 1][1])
            i -= 1
        else:
            lost += [note for _, note in row[before[i - 1]:i - 1]]
            i = before[i - 1]
    return lost
