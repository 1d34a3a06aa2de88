"""The net ledger: one story for each note that differs between source and draft."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace

from arranger.model.draft import Draft, HarpNote
from arranger.model.ledger import (
    Alteration,
    Drop,
    GiveToHand,
    Ledger,
    Merge,
    OctaveShift,
    Repitch,
    Respell,
    Roll,
)
from arranger.model.score import Note, NoteId
from arranger.passes.start import HANDS
from arranger.plan.hand_options import reach
from arranger.rulebook.players import Player


def net(draft: Draft, player: Player) -> Draft:
    """Replace the running ledger by the net difference, each with its last reason."""
    said: dict[NoteId, Alteration] = {}
    for entry in draft.ledger.entries:
        before = said.get(entry.edit.note)
        if before is None or not isinstance(entry.edit, Respell) or isinstance(
                before.edit, Respell):  # a new spelling does not unsay another sound
            said[entry.edit.note] = entry
    played = {n.id: n for n in draft.notes}
    entries: list[Alteration] = []
    for note in draft.source.part_notes(draft.part):
        entries += _story(note, played.get(note.id), said.get(note.id), played.keys(), player)
    return replace(draft, ledger=Ledger(tuple(entries)))


def _story(note: Note, played: HarpNote | None, said: Alteration | None,
           kept: Collection[NoteId], player: Player) -> Iterator[Alteration]:
    """Alterations of one note; one merged into a note that was given up later is left out."""
    if played is None:
        assert said is not None, f"{note.id} vanished without a ledger line"
        assert isinstance(said.edit, Drop | Merge)
        gone = isinstance(said.edit, Merge) and said.edit.into not in kept
        yield replace(said, edit=Drop(note.id)) if gone else said
        return
    rule, stage, reason = (said.rule, said.stage, said.reason) if said else ("N1", "strings", "")
    if played.pitch.midi != note.midi:
        kind = (OctaveShift if played.pitch.pitch_class == note.pitch.pitch_class else Repitch)
        yield Alteration(kind(note.id, played.pitch), rule, stage, reason)
    elif played.pitch != note.pitch:
        yield Alteration(Respell(note.id, played.pitch), rule, stage, reason)
    if played.hand != HANDS.get(note.staff, "L"):
        yield Alteration(GiveToHand(note.id, played.hand), *_given(played, player))
    if played.rolled and "arpeggiate" not in note.marks:
        yield Alteration(Roll(note.id), "H5", "hands", "wider than the hand spans at once")


def _given(played: HarpNote, player: Player) -> tuple[str, str, str]:
    """Why a note is in the other hand: the one of its staff cannot reach it, or this is better."""
    hand, other = ("right", "left") if played.hand == "R" else ("left", "right")
    low, high = reach(other[0].upper(), player)
    if low <= played.string <= high:
        return "H6", "hands", f"the {hand} hand lies nearer or is free"
    return "H3", "hands", f"{played.pitch.label} is out of the {other} hand's reach"
