"""Whole drafts of a piece, each the optimum of its own weighting, and those worth offering."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from arranger.model.draft import Draft
from arranger.options.measures import Measures, measure
from arranger.passes.ease import eased
from arranger.passes.pipeline import arrange
from arranger.passes.settings import Settings
from arranger.rulebook.players import load_player
from arranger.rulebook.weightings import Weighting, load_weightings

#: Share of musical decisions (string, hand, roll of every note) in which drafts must differ.
LEAST_APART = 0.10
Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class WholeDraft:
    """A draft under a weighting, with its figures. ``weighting`` is None for the usual one."""

    weighting: Weighting | None
    draft: Draft = field(repr=False)
    measures: Measures

    @property
    def id(self) -> str:
        """Short name, also of its file."""
        return self.weighting.id if self.weighting else "usual"

    @property
    def title(self) -> str:
        """Name for a reader."""
        return self.weighting.title if self.weighting else "as arranged"


def whole_drafts(usual: Draft, settings: Settings,
                 progress: Progress = lambda _: None) -> tuple[WholeDraft, ...]:
    """Arrange a piece by every weighting and keep the drafts that are worth a look.

    A draft is offered if none is as good by every figure and better by one, and if it differs
    from the usual draft and from those before it in a tenth of the musical decisions.
    """
    made = [WholeDraft(None, usual, measure(usual, settings))]
    for weighting in load_weightings():
        progress(f"arranging a draft: {weighting.title}")
        theirs = replace(settings, prices=weighting.prices(settings.prices))
        if weighting.player:
            theirs = replace(theirs, player=load_player(weighting.player))
        draft = (weighting.ease and eased(usual, weighting.ease, replace(theirs, ensemble=None))) \
            or arrange(usual.source, usual.part, theirs).draft
        made.append(WholeDraft(weighting, draft, measure(draft, settings)))
    return worth_offering(made)


def worth_offering(made: Sequence[WholeDraft]) -> tuple[WholeDraft, ...]:
    """Drop dominated drafts and those too near to one that stands before them."""
    kept: list[WholeDraft] = []
    for one in made:
        beaten = any(dominates(other.measures, one.measures) for other in made)
        near = any(apart(one.draft, other.draft) < LEAST_APART for other in (*made[:1], *kept)
                   if other is not one)
        if not beaten and not near:
            kept.append(one)
    return tuple(kept)


def dominates(one: Measures, other: Measures) -> bool:
    """Tell whether one draft is as good by every figure and better by one."""
    pairs = list(zip(one.better, other.better, strict=True))
    return all(a >= b for a, b in pairs) and any(a > b for a, b in pairs)


def apart(one: Draft, other: Draft) -> float:
    """Share of the source's notes on which two drafts decide differently."""
    faces = [{n.id: (n.pitch, n.hand, n.rolled) for n in d.notes} for d in (one, other)]
    notes = [n.id for n in one.source.part_notes(one.part)]
    differ = sum(faces[0].get(i) != faces[1].get(i) for i in notes)
    return differ / len(notes) if notes else 0.0
