"""The plan a player would follow for a part that is checked: its pedals or levers, its fingers."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection, Sequence
from dataclasses import replace
from fractions import Fraction
from types import MappingProxyType

from arranger.checks.case import Case, hands_of
from arranger.checks.lever_part import lever_draft
from arranger.model.draft import Draft, HarpNote, PedalPlan
from arranger.model.harp import PEDALS, HarpString
from arranger.model.ledger import Ledger
from arranger.model.pins import Pin, Pins
from arranger.passes.compass import tuning
from arranger.passes.feet import move_pedals
from arranger.passes.fingers import finger_as_read
from arranger.passes.inspect import Inspection
from arranger.passes.jumps import barline_groups, barlines
from arranger.passes.pipeline import mark_pedals
from arranger.passes.settings import Settings


def planned(case: Case, found: Inspection, settings: Settings) -> Draft:
    """Return the part with its pedals or levers, fingered as a draft is.

    Fingers that the part has stand; the others are found around them. A note that no hand holds
    has none.
    """
    plan = _moved(case, found, settings)
    held = {n for grip in case.grips for n in grip.fingers} | {n.id for n in case.graces}
    stand = Pins(MappingProxyType({n: Pin(finger=f) for n, f in case.fingers.items()}))
    fingers = {n.id: n.finger for n in finger_as_read(
        plan, replace(settings, pins=settings.pins.plus(stand))).notes if n.id in held}
    return replace(plan, notes=tuple(
        replace(n, finger=case.fingers.get(n.id, fingers.get(n.id))) for n in plan.notes))


def _moved(case: Case, found: Inspection, settings: Settings) -> Draft:
    """Return the part with pedals timed, as spelled where it goes, else as the planner spells it.

    Where every letter has time as written no search is needed: the windows of the letters are the
    plan. Barlines joined by a jump share what the notes after the first of them want; where a
    foot then comes too late the part goes through the whole planner.
    """
    if case.harp.mechanism != "pedal":
        return lever_draft(case, {})
    hands, fingers = hands_of(case), case.all_fingers()
    notes = tuple(HarpNote(n, found.respelling.pitches.get(n.id, n.pitch),
                           hands[n.id], fingers.get(n.id), "arpeggiate" in n.marks)
                  for n in case.score.part_notes(case.part))
    fixed = tuning(notes, case.harp)
    sure = tuple(n for n in notes if abs(n.pitch.alter) <= 1 and not n.source.grace)
    draft = Draft(case.score, case.part, sure, PedalPlan(fixed=fixed))
    groups = barlines(case.score, barline_groups(case.score))
    timed, missed = move_pedals(draft, settings, _pins(sure, fixed, groups))
    if missed and groups:
        whole = mark_pedals(case.score, case.part, settings).draft
        return replace(whole, ledger=Ledger(), notes=tuple(
            replace(n, hand=hands[n.id], finger=fingers.get(n.id)) for n in whole.notes))
    return replace(timed, notes=notes)


def _pins(notes: Sequence[HarpNote], fixed: Collection[HarpString],
          groups: Sequence[Sequence[Fraction]]) -> dict[Fraction, tuple[int, ...]]:
    """Return the setting at every barline of a jump, by position (0 flat, 1 natural, 2 sharp).

    A letter stands as its next note after the first barline of the group wants it, or its last.
    """
    uses: dict[str, list[tuple[Fraction, int]]] = {step: [] for step in PEDALS}
    for note in notes:
        if note.string not in fixed:
            uses[note.pitch.step].append((note.onset, note.pitch.alter))
    pins: dict[Fraction, tuple[int, ...]] = {}
    for group in groups:
        first = min(group)
        state = []
        for step in PEDALS:
            mine = uses[step]
            at = min(bisect_left(mine, (first, -2)), len(mine) - 1)
            state.append(mine[at][1] + 1 if mine else 1)
        pins |= dict.fromkeys(group, tuple(state))
    return pins
