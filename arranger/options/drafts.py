"""Whole drafts of a piece, each the optimum of its own weighting, and those worth offering."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from arranger.model.draft import Draft
from arranger.options.measures import Measures, measure
from arranger.passes.account import net
from arranger.passes.ease import eased
from arranger.passes.pipeline import arrange
from arranger.passes.settings import Settings
from arranger.passes.start import on_source
from arranger.rulebook.players import load_player
from arranger.rulebook.weightings import Weighting, load_weightings

#: Share of musical decisions (string, hand, roll of every note) in which drafts must differ.
LEAST_APART = 0.10
#: Times a whole draft is looked at again: once, so that bars alike are played alike. That a draft
#: comes back unchanged holds at the usual prices only, so more would be of no use.
_LOOKS = 1
#: Drafts, the usual one among them, from which on none is sought only because it differs.
_ENOUGH = 3
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
    from the usual draft and from those before it in a tenth of the musical decisions. Where fewer
    than ``_ENOUGH`` are, one is sought that is paid for differing.
    """
    made = [WholeDraft(None, usual, measure(usual, settings))]
    weightings = load_weightings()
    for weighting in (w for w in weightings if not w.unlike):
        progress(f"arranging a draft: {weighting.title}")
        theirs = _theirs(weighting, settings)
        draft = (weighting.ease and eased(usual, weighting.ease, replace(theirs, ensemble=None))) \
            or arrange(usual.source, usual.part, theirs).draft
        made.append(WholeDraft(weighting, draft, measure(draft, settings)))
    offered = worth_offering(made)
    for weighting in (w for w in weightings if w.unlike and len(offered) < _ENOUGH):
        progress(f"arranging a draft: {weighting.title}")
        offered = _with_unlike(made, offered, weighting, settings)
    return offered


def _theirs(weighting: Weighting, settings: Settings) -> Settings:
    """Settings of a weighting, for a plan of which nothing need be proved."""
    theirs = replace(settings, prices=weighting.prices(settings.prices), proof=0, looks=_LOOKS)
    return replace(theirs, player=load_player(weighting.player)) if weighting.player else theirs


def _with_unlike(made: Sequence[WholeDraft], offered: tuple[WholeDraft, ...],
                 weighting: Weighting, settings: Settings) -> tuple[WholeDraft, ...]:
    """The drafts offered, with one more if the least reward that sets it apart leaves it good."""
    for share in weighting.unlike:
        paid = replace(weighting, factors={**weighting.factors, "other_hand": share,
                                           "line_hand": share})
        draft = _other_hands(made[0].draft, _theirs(paid, settings))
        one = WholeDraft(paid, draft, measure(draft, settings))
        if all(apart(draft, other.draft) >= LEAST_APART for other in (made[0], *offered)):
            return worth_offering([*made, one])
    return offered


def _other_hands(usual: Draft, settings: Settings) -> Draft:
    """The piece arranged as if every note stood on the other staff than it has in a draft."""
    score, part = usual.source, usual.part
    staff = {n.id: 2 if n.hand == "R" else 1 for n in usual.notes}
    turned = replace(score, notes=tuple(
        replace(n, staff=staff.get(n.id, n.staff)) if n.part == part else n for n in score.notes))
    draft = arrange(turned, part, settings).draft
    return net(replace(draft, source=score, notes=on_source(draft.notes, score, part)), settings)


def worth_offering(made: Sequence[WholeDraft]) -> tuple[WholeDraft, ...]:
    """Drop dominated drafts and those too near to one that stands before them.

    The first is the draft itself: it goes only if one that is offered is better, and what is too
    near to it, though a little better, puts no other draft out.
    """
    usual, *others = made
    unlike = [one for one in others if apart(one.draft, usual.draft) >= LEAST_APART]
    kept: list[WholeDraft] = []
    for one in unlike:
        beaten = any(dominates(other.measures, one.measures) for other in (usual, *unlike))
        near = any(apart(one.draft, other.draft) < LEAST_APART for other in kept)
        if not beaten and not near:
            kept.append(one)
    if any(dominates(other.measures, usual.measures) for other in kept):
        return tuple(kept)
    return (usual, *kept)


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
