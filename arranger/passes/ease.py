"""Easier drafts: each level is thinned from the draft of the level above, so they are nested."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

from arranger.model.draft import Draft, HarpNote
from arranger.model.errors import ChoiceError
from arranger.model.ledger import Alteration, Drop, Ledger
from arranger.model.score import Score
from arranger.passes.account import net
from arranger.passes.pipeline import arrange
from arranger.passes.settings import Settings
from arranger.passes.start import as_source
from arranger.plan.roles import Role, roles
from arranger.plan.slices import Slice, slices
from arranger.rulebook.reduction import EASIEST, HARDEST, Budget, load_reduction

STAGE = "ease"
Progress = Callable[[str], None]


def arrange_within(score: Score, part: str, settings: Settings, ease: int = 0,
                   progress: Progress = lambda _: None) -> Draft:
    """Arrange a part within a budget of difficulty: 1, the easiest, to 5; 0 for none.

    The notes of a level are notes of every harder one: from level to level the draft itself is
    thinned and arranged again.

    Raises
    ------
    ChoiceError
        There is no such level.
    """
    if ease and not EASIEST <= ease <= HARDEST:
        raise ChoiceError(f"--ease is {EASIEST}, the easiest, to {HARDEST}, not {ease}")
    draft = arrange(score, part, settings, progress).draft
    later = replace(settings, ensemble=None)
    for level in range(HARDEST - 1, ease - 1, -1) if ease else ():
        progress(f"making it easier, level {level}")
        fewer = thinned(draft, load_reduction().budget(level), level)
        if len(fewer.notes) == len(draft.notes):
            continue
        again = arrange(as_source(fewer), part, later, progress).draft
        draft = _told(score, part, again, fewer, later)
    return draft


def thinned(draft: Draft, budget: Budget, level: int) -> Draft:
    """Leave out what is over the budget: attacks too close first, then notes too many at once.

    Attacks go by whole grids of the bar, so a phrase is thinned evenly; of what is struck at
    once the tune stays first, then the bass, then what tells the harmony.
    """
    known = roles(draft.notes)
    kept: set[str] = {n.id for n in draft.notes if n.source.grace and level > 2}
    last_tune = last_other = -9.0
    for here in slices([n for n in draft.notes if not n.source.grace], draft.source.tempo):
        ranked = sorted(here.notes, key=lambda n: _rank(n, known[n.id]))
        tune = [n for n in ranked if known[n.id].tune and here.seconds - last_tune
                >= budget.tune - 1e-9][:1]
        free = here.seconds - last_other >= budget.accompaniment - 1e-9
        others = [n for n in ranked if n not in tune and (free and not (
            known[n.id].tune and _closer(here, last_tune, budget.tune)))]
        taken = [*tune, *others][:budget.together]
        kept |= {n.id for n in taken}
        if tune:
            last_tune = here.seconds
        if len(taken) > len(tune):
            last_other = here.seconds
    made = tuple(Alteration(Drop(n.id), "T1", STAGE, f"left out for a part of ease {level}")
                 for n in draft.notes if n.id not in kept)
    return replace(draft, notes=tuple(n for n in draft.notes if n.id in kept),
                   ledger=draft.ledger.plus(*made))


def _closer(here: Slice, before: float, seconds: float) -> bool:
    return here.seconds - before < seconds - 1e-9


def _rank(note: HarpNote, role: Role) -> tuple[bool, bool, bool, bool, Fraction]:
    return (not role.tune, not role.bass, role.doubled, not role.colour, -note.source.duration)


def _told(score: Score, part: str, again: Draft, before: Draft,
          settings: Settings) -> Draft:
    """The draft told against the source: its notes where they came from, one ledger."""
    origin = {n.id: n for n in score.part_notes(part)}
    notes = tuple(replace(n, source=origin[n.id]) for n in again.notes)
    entries = before.ledger.entries + again.ledger.entries
    return net(replace(again, source=score, notes=notes, ledger=Ledger(entries)), settings)
