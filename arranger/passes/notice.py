"""What the player should know besides what is wrong: losses in tune and bass, pedals, signs."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from arranger.io.harp_clean import Removed
from arranger.model.diagnostic import Diagnostic, Severity
from arranger.model.draft import Draft
from arranger.model.harp import pedal_word
from arranger.model.ledger import Drop, Merge, OctaveShift, Repitch
from arranger.passes.settings import Settings
from arranger.passes.start import start
from arranger.plan.roles import roles
from arranger.rulebook.rules import rule


def notices(draft: Draft, removed: Sequence[Removed],
            settings: Settings) -> tuple[Diagnostic, ...]:
    """Warnings and advice about a draft, in order of time."""
    found = [*_outer_voices(draft), *_hurried(draft, settings), *_signs(draft, removed)]
    return tuple(sorted(found, key=lambda d: (d.where.onset, d.code, d.notes)))


def _say(draft: Draft, code: str, severity: Severity, message: str, onset: Fraction,
         notes: tuple[str, ...] = ()) -> Diagnostic:
    where = draft.source.locate(onset)
    return Diagnostic(code, rule(code).name, severity, message, where, notes, draft.part)


def _outer_voices(draft: Draft) -> list[Diagnostic]:
    """Tune and bass notes that changed: the player decides."""
    first = start(draft.source, draft.part)
    part_roles = roles(first.notes)
    found = []
    for entry in draft.ledger.entries:
        if not isinstance(entry.edit, Drop | Merge | OctaveShift | Repitch):
            continue
        role = part_roles[entry.edit.note]
        if not (role.tune >= 1 or role.bass >= 1):
            continue
        onset = next(n.onset for n in first.notes if n.id == entry.edit.note)
        where = draft.source.locate(onset)
        what = "is left out" if isinstance(entry.edit, Drop | Merge) else "is changed"
        found.append(_say(draft, entry.rule, "warning",
                          f"{where}: a {role.word} {what} ({entry.reason})", onset,
                          (entry.edit.note,)))
    return found


def _hurried(draft: Draft, settings: Settings) -> list[Diagnostic]:
    """Two moves of one foot closer than a foot works at leisure."""
    found = []
    for foot in "LR":
        mine = [m for m in draft.plan.moves if m.foot == foot]
        for one, two in pairwise(mine):
            wait = two.seconds - one.seconds
            if settings.player.foot_move_seconds - 1e-6 <= wait \
                    < settings.player.foot_sustained_seconds - 1e-6:
                where = draft.source.locate(two.onset)
                found.append(_say(
                    draft, "P3", "warning",
                    f"{where}: one foot moves {pedal_word(one.pedal, one.after)} and "
                    f"{pedal_word(two.pedal, two.after)} within {wait:.2f} s", two.onset))
    return found


def _signs(draft: Draft, removed: Sequence[Removed]) -> list[Diagnostic]:
    if not removed:
        return []
    told = ", ".join(f"{r.kind} ({r.count}, first in bar {r.bar})" for r in removed)
    return [_say(draft, "N2", "advice", f"signs of the piano taken out: {told}",
                 draft.source.measures[0].onset)]
