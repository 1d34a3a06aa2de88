"""Replay the ledger on the source: it must give the draft, note by note."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction

from arranger.model.draft import Draft
from arranger.model.ledger import Add, Drop, Merge, OctaveShift, Repitch, Respell
from arranger.model.pitch import Pitch
from arranger.model.score import NoteId


def replay(draft: Draft) -> dict[NoteId, Pitch]:
    """Pitches by note id after all edits of the ledger."""
    sounding = {n.id: n.pitch for n in draft.source.source_notes(draft.part)}
    for entry in draft.ledger.entries:
        match entry.edit:
            case Drop(note) | Merge(note):
                del sounding[note]
            case (Repitch(note, pitch) | OctaveShift(note, pitch) | Respell(note, pitch)
                  | Add(note, pitch)):
                sounding[note] = pitch
            case _:
                pass
    return sounding


def faults(draft: Draft) -> tuple[str, ...]:
    """Say where ledger and draft disagree; empty if the ledger accounts for everything."""
    expected = replay(draft)
    actual = {n.id: n.pitch for n in draft.notes}
    found = [f"{i}: the ledger says {expected.get(i)}, the draft {actual.get(i)}"
             for i in sorted(expected.keys() | actual.keys())
             if expected.get(i) != actual.get(i)]
    merged = {e.edit.note: e.edit.into for e in draft.ledger.entries if isinstance(e.edit, Merge)}
    found += [f"{note} merged into {into}, which is not in the draft"
              for note, into in merged.items() if into not in actual]
    places = Counter((n.onset, n.pitch.midi) for n in draft.notes if not n.source.grace)
    found += [f"{count} notes sound {midi} at {onset}" for (onset, midi), count in places.items()
              if count > 1]
    return tuple(found)


def sums(draft: Draft) -> tuple[Counter[tuple[Fraction, int]], Counter[tuple[Fraction, int]]]:
    """Multisets of (onset, midi) of source and draft, without grace notes."""
    source = Counter((n.onset, n.midi) for n in draft.source.source_notes(draft.part)
                     if not n.grace)
    made = Counter((n.onset, n.pitch.midi) for n in draft.notes if not n.source.grace)
    return source, made
