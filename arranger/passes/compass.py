"""Fold the part into the compass, and tune the strings that no pedal reaches."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

from arranger.model.draft import Draft, HarpNote, PedalPlan
from arranger.model.harp import Harp, HarpString
from arranger.model.ledger import Alteration, Drop, Merge, OctaveShift
from arranger.model.pitch import Pitch
from arranger.passes.settings import Settings
from arranger.plan.roles import roles
from arranger.plan.worth import worth

STAGE = "compass"


def fold(draft: Draft, settings: Settings) -> Draft:
    """Move notes outside the compass by octaves; merge those that meet another note there."""
    fixed = tuning(draft.notes, settings.harp)
    taken = {(n.onset, n.pitch.midi): n.id for n in draft.notes
             if not n.source.grace and _reachable(n.pitch, settings.harp, fixed)}
    kept: list[HarpNote] = []
    made: list[Alteration] = []
    for note in draft.notes:
        if _reachable(note.pitch, settings.harp, fixed):
            kept.append(note)
            continue
        reason = f"{note.pitch.label} lies outside what the strings of this harp can sound"
        moved = _inside(note.pitch, settings.harp, fixed)
        if moved is None or (moved.midi, note.source.grace) == (note.pitch.midi, True):
            made.append(Alteration(Drop(note.id), "C1", STAGE, reason))
            continue
        place = (note.onset, moved.midi)
        if place in taken and not note.source.grace:
            made.append(Alteration(Merge(note.id, taken[place]), "T3", STAGE,
                                   f"{reason}; an octave away {moved.label} sounds already"))
            continue
        taken[place] = note.id
        kept.append(replace(note, pitch=moved))
        made.append(Alteration(OctaveShift(note.id, moved), "C1", STAGE, reason))
    plan = PedalPlan(draft.plan.opening, draft.plan.moves, fixed)
    return replace(draft, notes=tuple(kept), plan=plan, ledger=draft.ledger.plus(*made))


def fold_price(whole: Draft, folded: Draft, settings: Settings) -> int:
    """What the folding cost: octaves as elsewhere, a note that met another as a doubling lost."""
    made = folded.ledger.entries[len(whole.ledger.entries):]
    if not made:
        return 0
    part_roles, notes = roles(whole.notes), {n.id: n for n in whole.notes}
    price = {OctaveShift: settings.prices["octave"], Merge: settings.prices["drop_doubling"]}
    return sum(price[type(e.edit)] if type(e.edit) in price else worth(
        notes[e.edit.note], part_roles[e.edit.note], settings.prices).drop for e in made)


def tuning(notes: tuple[HarpNote, ...], harp: Harp) -> Mapping[HarpString, int]:
    """Alter of every string without disc: the one its notes ask for longest, else natural."""
    wanted: dict[HarpString, Counter[int]] = {s: Counter() for s in sorted(harp.fixed)}
    for note in notes:
        for pitch in harp.spellings(note.pitch.midi):
            string = HarpString.of(pitch)
            if string in wanted and pitch == note.pitch:
                wanted[string][pitch.alter] += int(note.source.duration * 960) + 1
    return {s: max(sorted(c), key=lambda a: (c[a], a == 0)) if c else 0
            for s, c in wanted.items()}


def usable(midi: int, harp: Harp, fixed: Mapping[HarpString, int]) -> tuple[Pitch, ...]:
    """Spellings of a pitch that this harp can give as its fixed strings are tuned."""
    return tuple(p for p in harp.spellings(midi)
                 if HarpString.of(p) not in fixed or fixed[HarpString.of(p)] == p.alter)


def _reachable(pitch: Pitch, harp: Harp, fixed: Mapping[HarpString, int]) -> bool:
    return bool(usable(pitch.midi, harp, fixed))


def _inside(pitch: Pitch, harp: Harp, fixed: Mapping[HarpString, int]) -> Pitch | None:
    """Nearest octave of ``pitch`` that can be had, towards the middle of the harp."""
    middle = Fraction(harp.lowest.position + harp.highest.position, 2)
    step = 1 if pitch.position < middle else -1
    for octaves in range(1, 9):
        moved = pitch.shifted(step * octaves)
        if _reachable(moved, harp, fixed):
            return moved
    return None
