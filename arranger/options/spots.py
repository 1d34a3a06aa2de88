"""Risky spots: places where what is hard gathers, so that one decision settles it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from arranger.model.draft import Draft
from arranger.model.score import Location, NoteId
from arranger.options.foot_risks import foot_risks, losses
from arranger.options.hand_risks import hand_risks
from arranger.options.risk import Risk
from arranger.passes.settings import Settings

#: Quarter notes from the worst risk of a spot within which others that share a note join it.
_WITHIN = Fraction(4)


@dataclass(frozen=True, slots=True)
class Spot:
    """A place, its risks from the worst down, and where else the same stands."""

    where: Location
    risks: tuple[Risk, ...]
    again: tuple[Location, ...] = ()

    @property
    def weight(self) -> int:
        """Sum of the weights of its risks."""
        return sum(r.weight for r in self.risks)

    @property
    def notes(self) -> tuple[NoteId, ...]:
        """Notes by which the spot could be settled, the likeliest first."""
        return tuple(dict.fromkeys(n for r in self.risks for n in r.notes))

    @property
    def id(self) -> str:
        """Name made from content: bar, beat and the worst risk."""
        return f"{self.where.bar_index}:{self.where.beat}:{self.risks[0].kind}"


def risks(draft: Draft, settings: Settings) -> tuple[Risk, ...]:
    """Everything that is hard, the worst first."""
    hands = hand_risks(draft, settings) if settings.harp.hands_judged else []
    found = [*hands, *foot_risks(draft, settings), *losses(draft, settings)]
    return tuple(sorted(found, key=lambda r: (-r.weight, r.onset, r.kind, r.notes)))


def spots(draft: Draft, settings: Settings,
          bars: tuple[int, int] | None = None) -> tuple[Spot, ...]:
    """Gather the risks of a draft, the riskiest spot first.

    Parameters
    ----------
    bars : first and last bar (counted from 1) to look at.
    """
    groups: list[list[Risk]] = []
    homes: dict[NoteId, list[list[Risk]]] = {}
    for one in risks(draft, settings):
        near = [g for n in one.notes for g in homes.get(n, ())
                if abs(g[0].onset - one.onset) <= _WITHIN]
        group = near[0] if near else []
        if not near:
            groups.append(group)
        group.append(one)
        for note in one.notes:
            homes.setdefault(note, []).append(group)
    found = [Spot(draft.source.locate(g[0].onset), tuple(g)) for g in groups]
    if bars is not None:
        found = [s for s in found if bars[0] <= s.where.bar_index <= bars[1]]
    return tuple(sorted(_told_once(found), key=lambda s: (-s.weight, s.where.onset)))


def _told_once(found: Sequence[Spot]) -> list[Spot]:
    """The same risk in other bars is told where it stands first."""
    forms: dict[tuple[object, ...], list[Spot]] = {}
    for spot in sorted(found, key=lambda s: s.where.onset):
        forms.setdefault(spot.risks[0].form, []).append(spot)
    return [Spot(first.where, first.risks, tuple(s.where for s in rest))
            for first, *rest in forms.values()]
