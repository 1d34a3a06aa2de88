"""Equal bars start alike: the commonest way to play them is put to the planner everywhere.

What differs from it afterwards is worth more than the price of another string or hand.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import replace

from arranger.model.draft import Draft, HarpNote
from arranger.model.ledger import Alteration, Respell
from arranger.model.pitch import Pitch
from arranger.model.score import NoteId

STAGE = "strings"


def alike(draft: Draft) -> Draft:
    """Give bars that are equal in the source the strings and hands that most of them have."""
    bars: dict[int, list[HarpNote]] = defaultdict(list)
    for note in draft.notes:
        bars[note.source.measure].append(note)
    groups: dict[object, list[list[HarpNote]]] = defaultdict(list)
    for index, notes in sorted(bars.items()):
        start = draft.source.measures[index].onset
        notes.sort(key=lambda n: (n.onset, n.source.midi, n.source.staff, n.source.voice, n.id))
        groups[tuple((n.onset - start, n.source.midi, n.source.grace)
                     for n in notes)].append(notes)
    changed: dict[NoteId, HarpNote] = {}
    made: list[Alteration] = []
    for group in groups.values():
        (usual, count), *_ = Counter(map(_version, group)).most_common()
        where = draft.source.locate(next(g for g in group if _version(g) == usual)[0].onset)
        for notes in group if count < len(group) else ():
            for note, (pitch, hand) in zip(notes, usual, strict=True):
                if (note.pitch, note.hand) != (pitch, hand):
                    changed[note.id] = replace(note, pitch=pitch, hand=hand)
                if note.pitch != pitch:
                    made.append(Alteration(Respell(note.id, pitch), "N1", STAGE,
                                           f"as in {where}, where the bar is the same"))
    return replace(draft, notes=tuple(changed.get(n.id, n) for n in draft.notes),
                   ledger=draft.ledger.plus(*made))


def _version(notes: Sequence[HarpNote]) -> tuple[tuple[Pitch, str], ...]:
    return tuple((n.pitch, n.hand) for n in notes)
