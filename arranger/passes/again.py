"""Leave out notes whose string comes back sooner than any finger, past what the plan looks back on.

The plan of the hands knows the last grip of each hand. A string struck two grips ago and wanted
again within the player's time slips by it where many notes are struck within that time.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import cache
from itertools import pairwise

from arranger.model.draft import Draft, HarpNote
from arranger.model.ledger import Alteration, Drop
from arranger.model.pins import FREE
from arranger.model.score import NoteId
from arranger.passes.settings import Settings
from arranger.plan.pinned import KEPT
from arranger.plan.roles import roles
from arranger.plan.slices import joined_barlines, slices
from arranger.plan.worth import worth

STAGE = "hands"
_EPS = 1e-6
Row = list[tuple[float, HarpNote]]  #: strokes of a string, with their seconds


def spare_strings(draft: Draft, settings: Settings) -> tuple[Draft, int]:
    """Return the draft without the notes a finger cannot be back for, and what they are worth.

    Of every string the notes that are worth most together stay (exact, string by string); where a
    repeat brings a string back too soon, the note that is worth less goes.
    """
    limit = settings.player.restrike_error_seconds - _EPS
    struck: dict[int, Row] = {}
    for here in slices([n for n in draft.notes if not n.source.grace], draft.source.tempo):
        for note in here.notes:
            struck.setdefault(note.string.position, []).append((here.seconds, note))
    quick = [row for row in struck.values()
             if any(0 < b - a < limit for (a, _), (b, _) in pairwise(row))]
    jumps = joined_barlines(draft.source)
    part_roles = cache(lambda: roles(draft.notes))  # hardly ever asked for

    def value(note: HarpNote) -> int:
        if settings.pins.of(note.id) != FREE:
            return KEPT
        return worth(note, part_roles()[note.id], settings.prices).drop

    gone = {n.id: n for row in quick for n in _too_many(row, value, limit)}
    for row in struck.values() if jumps else ():
        gone |= {n.id: n for n in _repeated([s for s in row if s[1].id not in gone], jumps, value,
                                            limit)}
    if not gone:
        return draft, 0
    made = [Alteration(Drop(n.id), "R1", STAGE, f"{part_roles()[n.id].word} {n.pitch.label}: its "
                       f"string is plucked again sooner than {limit:.2f} s before or after")
            for n in gone.values()]
    left = replace(draft, notes=tuple(n for n in draft.notes if n.id not in gone),
                   ledger=draft.ledger.plus(*made))
    return left, sum(map(value, gone.values()))


def _repeated(row: Row, jumps: Sequence[tuple[float, float]], value: Callable[[HarpNote], int],
              limit: float) -> Iterator[HarpNote]:
    """Notes of one string that a jump brings too close to another, or to themselves."""
    times = [time for time, _ in row]
    lost: set[NoteId] = set()
    for end, start in jumps:
        last = next((s for s in reversed(row[:bisect_left(times, end - _EPS)])
                     if s[1].id not in lost), None)
        first = next((s for s in row[bisect_left(times, start - _EPS):] if s[1].id not in lost),
                     None)
        if last and first and end - last[0] + first[0] - start < limit:
            note = min(last[1], first[1], key=value)
            lost.add(note.id)
            yield note


def _too_many(row: Row, value: Callable[[HarpNote], int], limit: float) -> list[HarpNote]:
    """Notes of one string that do not belong to the worthiest set that leaves the finger time."""
    times = [time for time, _ in row]
    best = [0]  # of the notes so far
    before = [bisect_right(times, time - limit, hi=i) for i, time in enumerate(times)]
    for i, (_, note) in enumerate(row):
        best.append(max(best[i], value(note) + best[before[i]]))
    lost, i = [], len(row)
    while i:
        if best[i] == best[i - 1]:
            lost.append(row[i - 1][1])
            i -= 1
        else:
            lost += [note for _, note in row[before[i - 1]:i - 1]]
            i = before[i - 1]
    return lost
