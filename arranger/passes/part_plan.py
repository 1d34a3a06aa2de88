"""The pedals of a part that is checked: the plan a player would follow."""

from __future__ import annotations

from dataclasses import replace

from arranger.checks.case import Case
from arranger.checks.lever_part import lever_draft
from arranger.model.draft import Draft, HarpNote, PedalPlan
from arranger.model.ledger import Ledger
from arranger.passes.compass import tuning
from arranger.passes.feet import move_pedals
from arranger.passes.inspect import Inspection
from arranger.passes.jumps import barline_groups
from arranger.passes.pipeline import mark_pedals
from arranger.passes.settings import Settings


def planned(case: Case, found: Inspection, settings: Settings) -> Draft:
    """Return the part with pedals timed, as spelled where it goes, else as the planner spells it.

    Where every letter has time as written no search is needed: the windows of the letters are the
    plan. A part with repeats goes through the whole planner, for the settings at the jumps.
    """
    if case.harp.mechanism != "pedal":
        return lever_draft(case, {})
    if barline_groups(case.score):
        return replace(mark_pedals(case.score, case.part, settings).draft, ledger=Ledger())
    hands = {n.id: hand for grip in case.grips
             for hand, notes in (("L", grip.left), ("R", grip.right)) for n in notes}
    notes = tuple(HarpNote(n, found.respelling.pitches.get(n.id, n.pitch),
                           hands.get(n.id, "R" if n.staff == 1 else "L"), case.fingers.get(n.id),
                           "arpeggiate" in n.marks)
                  for n in case.score.part_notes(case.part))
    fixed = tuning(notes, case.harp)
    sure = tuple(n for n in notes if abs(n.pitch.alter) <= 1 and not n.source.grace)
    draft = Draft(case.score, case.part, sure, PedalPlan(fixed=fixed))
    timed, _ = move_pedals(draft, settings, {})
    return replace(timed, notes=notes)

