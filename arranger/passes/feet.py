"""Write down the pedals: opening setting and the moment of every move."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from arranger.io.write_keys import signatures
from arranger.model.draft import Draft, PedalPlan
from arranger.model.harp import PEDALS, Harp, PedalSetting
from arranger.model.ledger import Alteration, Drop
from arranger.passes.settings import Settings
from arranger.plan.recall import Recall
from arranger.plan.settings import key_setting
from arranger.plan.timing import Use, Window, draft_uses, schedule, windows
from arranger.plan.touch import Hands


def give_up(draft: Draft, missed: Sequence[Window]) -> Draft:
    """Leave out the notes for which a foot cannot come in time after all.

    The search keeps moves of one foot apart by slices; in rare tight places no moments within
    the slices are far enough apart.
    """
    late = {(w.before, w.pedal, w.to_alter) for w in missed}
    kept, made = [], []
    for note in draft.notes:
        if (note.onset, note.pitch.step, note.pitch.alter) in late and note.string not in \
                draft.plan.fixed:
            made.append(Alteration(Drop(note.id), "P3", "pedals", f"{note.pitch.label}: the foot "
                                   f"that moves the {note.pitch.step} pedal is not free in time"))
        else:
            kept.append(note)
    return replace(draft, notes=tuple(kept), ledger=draft.ledger.plus(*made))


def move_pedals(draft: Draft, settings: Settings,
                pins: Mapping[Fraction, tuple[int, ...]], ornaments: Sequence[Use] = (),
                recall: Recall | None = None, hands: Hands | None = None,
                ) -> tuple[Draft, tuple[Window, ...]]:
    """Time every pedal move; also return the windows that no foot can meet.

    ``ornaments``: what these ask of the pedals. ``recall``: of the same piece under other pins.
    ``hands``: those of the draft, where they are to damp what a pedal would be heard on.
    """
    uses = [*draft_uses(draft), *ornaments]
    for onset, state in pins.items():
        uses += [Use(onset, step, position - 1, onset)
                 for step, position in zip(PEDALS, state, strict=True)]
    idle = len({use.letter for use in uses}) < len(PEDALS)
    opening, changes = windows(uses, _default(draft, settings.harp) if idle else PedalSetting())
    onsets = list(dict.fromkeys(n.onset for n in draft.notes))
    moves, missed = schedule(draft.source, onsets, changes, settings.player, settings.prices,
                             settings.pins.pedals, recall, hands)
    return replace(draft, plan=PedalPlan(opening, moves, draft.plan.fixed)), missed


def _default(draft: Draft, harp: Harp) -> PedalSetting:
    """Key signature of the strings at the start, for the letters that the part never uses."""
    key = key_setting(signatures(draft)[0])
    return PedalSetting.of({step: harp.nearest(step, key.alter(step)) for step in PEDALS})
