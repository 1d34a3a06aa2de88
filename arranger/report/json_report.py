"""The object written as report.json: source, settings, pedals, notes, ledger, findings, cost."""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType
from typing import Any

from arranger.model.diagnostic import Diagnostic
from arranger.model.draft import Damp, Draft, HarpNote, PedalMove
from arranger.model.harp import PEDALS
from arranger.model.ledger import Add, Alteration, Drop, Merge, OctaveShift, Repitch, Respell
from arranger.model.levers import LeverPlan, setting_words
from arranger.model.pitch import Pitch
from arranger.model.placed_groups import TENTH, placed_groups
from arranger.model.score import Location, Note, NoteId

SCHEMA = 1


@dataclass(frozen=True, slots=True)
class Heading:
    """What was read, and with which settings."""

    command: str
    file: str
    sha256: str
    parts: tuple[str, ...]
    kept_parts: tuple[str, ...]
    settings: Mapping[str, Any]

    def source(self) -> dict[str, Any]:
        """What was read, as reports tell it."""
        return {"file": self.file, "sha256": self.sha256, "parts": list(self.parts),
                "kept_parts": list(self.kept_parts)}


def report(draft: Draft, heading: Heading, findings: Sequence[Diagnostic],
           summary: Mapping[str, float | int | str],
           doubled: Sequence[tuple[Note, NoteId]] = (),
           lengths: Mapping[NoteId, Fraction] = MappingProxyType({}),
           struck_again: Collection[NoteId] = (), span: int = TENTH) -> dict[str, Any]:
    """Return the report of a draft; fractions are strings ``n`` or ``n/d``.

    ``doubled``: notes that several arranged parts struck alike, with the id of the one given up.
    ``lengths``: of notes as they are written, in quarter notes, where that is known.
    ``struck_again``: notes that the source holds on with a tie, and the draft strikes.
    ``span``: string steps of the player's hand.
    """
    group_of = _groups(draft, span)
    body: dict[str, Any] = {
        "schema": SCHEMA, "command": heading.command,
        "source": heading.source(),
        "settings": dict(heading.settings),
        "tempo": [{"onset": str(m.onset), "bpm": str(m.bpm)} for m in draft.source.tempo.marks],
        "bars": [{"bar": m.number, "onset": str(m.onset), "duration": str(m.duration),
                  "beats": m.beats, "beat_type": m.beat_type} for m in draft.source.measures],
        **({"pedals": _pedals(draft)} if draft.levers is None
           else {"levers": _levers(draft, draft.levers)}),
        **({"damping": [_damp(draft, d) for d in draft.damps]} if draft.damps else {}),
        "notes": [_note(draft, n, lengths.get(n.id, n.source.duration)) | group_of(n)
                  for n in draft.notes],
    }
    if heading.command in ("convert", "options"):
        body["ledger"] = _with_strokes(draft, entries(draft, draft.ledger.entries), struck_again)
        body["ledger"] += [_double(draft, note, twin) for note, twin in doubled]
    body["findings"] = [_finding(f) for f in findings]
    body["cost"] = {**draft.cost, "total": draft.total}
    body["bound"] = min(draft.bound, draft.total)
    body["stays"] = draft.stays
    body["summary"] = dict(summary)
    return body


def entries(draft: Draft, alterations: Sequence[Alteration]) -> list[dict[str, Any]]:
    """Return alterations of a draft as ledger entries, one a note."""
    source = {n.id: n for n in draft.source.part_notes(draft.part)}
    played = {n.id: n for n in draft.notes}
    return [_entry(draft, e, also, source, played) for e, also in _by_note(alterations)]


def dumps(body: Mapping[str, Any]) -> bytes:
    """Serialise a report, the same bytes for the same content."""
    return (json.dumps(body, ensure_ascii=False, indent=1) + "\n").encode()


def _place(where: Location) -> dict[str, Any]:
    return {"bar": where.bar, "bar_index": where.bar_index, "beat": str(where.beat),
            "onset": str(where.onset)}


def _pedals(draft: Draft) -> dict[str, Any]:
    plan = draft.plan
    opening = dict(zip(PEDALS, plan.opening.alters, strict=True))
    return {"opening": opening, "moves": [_move(draft, m) for m in plan.moves],
            "tuned": {str(s): a for s, a in plan.fixed.items() if a}}


def _move(draft: Draft, move: PedalMove) -> dict[str, Any]:
    return {**_place(draft.source.locate(move.onset)), "seconds": round(move.seconds, 3),
            "pedal": move.pedal, "from": move.before, "to": move.after, "foot": move.foot}


def _damp(draft: Draft, damp: Damp) -> dict[str, Any]:
    return {**_place(draft.source.locate(damp.onset)), "seconds": round(damp.seconds, 3),
            "hand": damp.hand, "strings": [n.pitch.name for n in damp.notes],
            "notes": [n.id for n in damp.notes], "rule": damp.rule}


def _levers(draft: Draft, levers: LeverPlan) -> dict[str, Any]:
    moves = [{**_place(draft.source.locate(m.onset)), "seconds": round(m.seconds, 3),
              "string": str(m.string), "from": m.before, "to": m.after} for m in levers.moves]
    opening = {str(s): a for s, a in sorted(levers.opening.items())}
    return {"opening": opening, "words": setting_words(levers.opening), "moves": moves}


def _where(draft: Draft, note: Note) -> Location:
    return draft.source.locate(note.onset, None if note.grace else note.measure)


def _note(draft: Draft, note: HarpNote, length: Fraction) -> dict[str, Any]:
    return {"id": note.id, "source_ids": list(note.source.source_ids or (note.id,)),
            "duration": str(length), "midi": note.pitch.midi,
            "string": note.pitch.name, "hand": note.hand, "finger": note.finger,
            **_place(_where(draft, note.source)),
            "grace": note.source.grace, "rolled": note.rolled}


def _groups(draft: Draft, span: int) -> Callable[[HarpNote], dict[str, int]]:
    """Number the placed groups in order of time; a note in none says nothing."""
    numbers = {note.id: number for number, grips in enumerate(
        placed_groups(draft.notes, span), start=1)
               for grip in grips for note in grip}
    return lambda note: {"group": numbers[note.id]} if note.id in numbers else {}


def _sound(ident: NoteId, onset: Fraction, pitch: Pitch) -> dict[str, Any]:
    return {"id": ident, "onset": str(onset), "midi": pitch.midi, "name": pitch.name}


def _by_note(entries: Sequence[Alteration]) -> list[tuple[Alteration, tuple[Alteration, ...]]]:
    """One entry a note: the change that matters most to the ear, and what else became of it."""
    groups: dict[NoteId, list[Alteration]] = {}
    for entry in entries:
        groups.setdefault(entry.edit.note, []).append(entry)
    return [(first, tuple(rest)) for first, *rest in groups.values()]


def _entry(draft: Draft, entry: Alteration, also: Sequence[Alteration],
           source: Mapping[NoteId, Note], played: Mapping[NoteId, HarpNote]) -> dict[str, Any]:
    note = source[entry.edit.note]
    before = [_sound(note.id, note.onset, note.pitch)]
    after: list[dict[str, Any]] = []
    match entry.edit:
        case Repitch(_, pitch) | OctaveShift(_, pitch) | Respell(_, pitch):
            after = [_sound(note.id, note.onset, pitch)]
        case Add(_, pitch):
            before, after = [], [_sound(note.id, note.onset, pitch)]
        case Drop():
            pass
        case Merge(_, into):
            # the other note sounds on unchanged: only this one is taken away
            assert into in played
        case _:
            after = [_sound(note.id, note.onset, played[note.id].pitch)]
            before = [dict(after[0])]
    return {"id": f"{entry.kind}-{note.id}", "kind": entry.kind, "stage": entry.stage,
            "rule": entry.rule, "reason": entry.reason,
            "also": [{"kind": a.kind, "rule": a.rule, "reason": a.reason} for a in also],
            **_place(_where(draft, note)),
            "grace": note.grace, "before": before, "after": after, "fidelity": entry.fidelity}


def _double(draft: Draft, note: Note, twin: NoteId) -> dict[str, Any]:
    return {"id": f"merge-{twin}", "kind": "merge", "stage": "reading", "rule": "T3",
            "reason": f"{note.pitch.label} is struck by another arranged part at once",
            "also": [], **_place(_where(draft, note)), "grace": False,
            "before": [_sound(twin, note.onset, note.pitch)], "after": [],
            "fidelity": "other-sound"}


def _with_strokes(draft: Draft, told: list[dict[str, Any]],
                  again: Collection[NoteId]) -> list[dict[str, Any]]:
    """The ledger with a line for each stroke that the source has not, whatever it became."""
    others = [e for e in told if not {b["id"] for b in e["before"]} & set(again)]
    return others + [
        {"id": f"restrike-{n.id}", "kind": "restrike", "stage": "reading", "rule": "R6",
         "reason": f"{n.pitch.label} is held on, and its string is silent by then", "also": [],
         **_place(_where(draft, n.source)), "grace": False, "before": [],
         "after": [_sound(n.id, n.onset, n.pitch)], "fidelity": "other-sound"}
        for n in draft.notes if n.id in again]


def limit_told(found: Diagnostic) -> dict[str, Any]:
    """Return how fast a finding would be none, if it says so."""
    return {} if found.limit is None else {"limit": found.limit}


def places(found: Diagnostic) -> list[dict[str, Any]]:
    """Return every place of a finding, the first too."""
    return [_place(where) for where in (found.where, *found.again)]


def _finding(found: Diagnostic) -> dict[str, Any]:
    return {"code": found.code, "name": found.name, "severity": found.severity,
            "message": found.message, "part": found.part, **_place(found.where),
            "places": places(found), "notes": list(found.notes), **limit_told(found),
            "remedies": [{"title": r.title, "fidelity": r.fidelity, "cost": r.cost}
                         for r in found.remedies]}
