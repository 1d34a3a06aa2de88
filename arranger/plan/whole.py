"""Whole plans, moment by moment, and the best of two of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from arranger.plan.pedal_path import PedalPath, Way
from arranger.plan.universe import Choice, Offers

NoteWays = tuple[tuple[int, ...], ...]  #: way of every note by slice


@dataclass(frozen=True, slots=True)
class Moment:
    """A slice of a plan.

    ``ways``: index of the way of every note (LOST: left out), ``taken``: the way itself;
    ``hands``: both grips; ``pedals``: the setting; ``stand``: feet and hands as they are after it,
    None where feet share the setting of the next slice; ``notes``, ``feet``, ``held``: what notes,
    pedals and hands cost.
    """

    ways: tuple[int, ...]
    taken: tuple[Way | None, ...]
    hands: Choice
    pedals: tuple[int, ...]
    stand: object
    notes: int
    feet: int
    held: int

    @property
    def price(self) -> int:
        """Price of all of it."""
        return self.notes + self.feet + self.held


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole plan, and a proven lower bound on the price of any.

    ``stays``: how much it is dearer than the cheapest one found, so that what is written stays.
    ``offers``: those under which the bound was found, for a plan of the same piece to start from.
    """

    moments: tuple[Moment, ...]
    bound: int = 0
    stays: int = 0
    offers: Offers = field(default_factory=dict, repr=False, compare=False)

    @property
    def ways(self) -> NoteWays:
        """Way of every note by slice."""
        return tuple(m.ways for m in self.moments)

    @property
    def hands(self) -> tuple[Choice, ...]:
        """Both hands by slice."""
        return tuple(m.hands for m in self.moments)

    @property
    def pedals(self) -> PedalPath:
        """Pedals and the way of every note by slice."""
        return PedalPath(tuple(m.taken for m in self.moments),
                         tuple(m.pedals for m in self.moments), self.pedal_total)

    @property
    def pedal_total(self) -> int:
        """Price of notes and pedals."""
        return sum(m.notes + m.feet for m in self.moments)

    @property
    def hand_total(self) -> int:
        """Price of the hands."""
        return sum(m.held for m in self.moments)

    @property
    def total(self) -> int:
        """Price of strings, notes, pedals and hands."""
        return sum(m.price for m in self.moments)


@dataclass(frozen=True, slots=True)
class Start:
    """What is known of a plan before it is sought, from another one of the same piece.

    ``offers``: those at which that one ended; ``ways``: how its notes went; both of the slices
    alone whose notes have the same ways.
    """

    offers: Offers
    ways: Mapping[int, tuple[int, ...]]


def crossed(one: Plan, other: Plan, margin: int = 0) -> Plan:
    """Best of both: where feet and hands stand alike, one may go on as the other does.

    Of every stretch between such places the cheaper is taken; that of ``other`` only where it
    saves more than ``margin``.
    """
    moments: list[Moment] = []
    for first, second in _stretches(one, other):
        saved = sum([m.price for m in first]) - sum([m.price for m in second])
        moments += second if saved > margin else first
    return Plan(tuple(moments))


def _stretches(one: Plan, other: Plan) -> Iterator[tuple[list[Moment], list[Moment]]]:
    first: list[Moment] = []
    second: list[Moment] = []
    for a, b in zip(one.moments, other.moments, strict=True):
        first.append(a)
        second.append(b)
        if a.stand is not None and a.stand == b.stand:
            yield first, second
            first, second = [], []
    yield first, second
