"""The net ledger: one story for each note that differs between source and draft."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace
from fractions import Fraction

from arranger.model.draft import Draft, HarpNote
from arranger.model.ledger import (
    Add,
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
from arranger.passes.settings import Settings
from arranger.passes.start import HANDS
from arranger.plan.hand_options import reach
from arranger.rulebook.players import Player


def net(draft: Draft, settings: Settings) -> Draft:
    """Replace the running ledger by the net difference, each with its last reason."""
    said: dict[NoteId, Alteration] = {}
    for entry in draft.ledger.entries:
        before = said.get(entry.edit.note)
        if before is None or not isinstance(entry.edit, Respell) or isinstance(
                before.edit, Respell):  # a new spelling does not unsay another sound
            said[entry.edit.note] = entry
    played = {n.id: n for n in draft.notes}
    entries: list[Alteration] = []
    written = draft.source.part_notes(draft.part)
    for note in written:
        if note.id in draft.source.added:
            entries += _addition(played.get(note.id))
            continue
        entries += _story(note, played.get(note.id), said.get(note.id), played.keys(),
                          settings.player)
    entries += _rolls(draft, settings)
    order = {n.id: at for at, n in enumerate(written)}
    entries.sort(key=lambda e: order[e.edit.note])
    return replace(draft, ledger=Ledger(tuple(entries)))


def _addition(played: HarpNote | None) -> Iterator[Alteration]:
    """What is told of a note that the source has not: nothing, where it was given up again."""
    if played is not None:
        yield Alteration(Add(played.id, played.pitch, played.hand), "T5", "chords",
                         "the left hand plays the chord symbol")


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


def _given(played: HarpNote, player: Player) -> tuple[str, str, str]:
    """Why a note is in the other hand: the one of its staff cannot reach it, or this is better."""
    hand, other = ("right", "left") if played.hand == "R" else ("left", "right")
    low, high = reach(other[0].upper(), player)
    if low <= played.string <= high:
        return "H6", "hands", f"the {hand} hand lies nearer or is free"
    return "H3", "hands", f"{played.pitch.label} is out of the {other} hand's reach"


def _rolls(draft: Draft, settings: Settings) -> Iterator[Alteration]:
    """Every roll that the source does not write at that note, and what it is for."""
    new = [n for n in draft.notes if n.rolled and "arpeggiate" not in n.source.marks]
    moments = {n.onset for n in new}
    struck: dict[Fraction, list[HarpNote]] = {}
    for other in draft.notes:
        if other.onset in moments and not other.source.grace:
            struck.setdefault(other.onset, []).append(other)
    written = {n.onset for n in draft.source.part_notes(draft.part)
               if n.onset in moments and "arpeggiate" in n.marks}
    for note in new:
        hand = [n for n in struck[note.onset] if n.hand == note.hand]
        places = [n.string.position for n in hand]
        if max(places) - min(places) > settings.player.span_steps:
            reason = "wider than the hand spans at once"
        elif any("arpeggiate" in n.source.marks for n in hand):
            reason = "rolled with the other notes of this hand, which the source rolls"
        elif settings.pins.of(note.id).rolled:
            reason = "rolled as chosen"
        elif note.onset in written:
            reason = "the source rolls a note of this chord that the hand no longer takes"
        else:
            reason = "rolled when it was a wider chord, before notes of it were left out"
        yield Alteration(Roll(note.id), "H5", "hands", reason)
