"""The ways of the notes of a slice: dearer, written, chosen, given."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from arranger.model.harp import PEDALS
from arranger.plan.foot_work import Wanted
from arranger.plan.pedal_path import Way, Ways
from arranger.plan.universe import LOST, Extra


@dataclass(frozen=True, slots=True)
class Given:
    """The ways that the notes of a slice are given: what they ask of the pedals and cost."""

    taken: tuple[Way | None, ...]
    wanted: Wanted
    cost: int


def written_way(note: Ways) -> int:
    """The way a note is written: it costs nothing, or the least."""
    return min(range(len(note.ways)), key=lambda k: note.ways[k].price, default=LOST)


def both(one: Extra, other: Extra) -> Extra:
    """Both prices together."""
    return {key: one.get(key, 0) + other.get(key, 0) for key in (*one, *other)}


def dearer(row: tuple[Ways, ...], extra: Extra) -> tuple[tuple[Ways, ...], tuple[Ways, ...]]:
    """Notes of a slice with these prices added to those of their ways, and the row it was."""
    return tuple(replace(note, drop=note.drop + extra.get((i, LOST), 0), ways=tuple(
        Way(w.pitch, w.price + extra.get((i, k), 0)) for k, w in enumerate(note.ways)))
        for i, note in enumerate(row)), row


def given_ways(notes: Sequence[Ways], row: Sequence[int]) -> Given:
    """What the ways of a slice come to, from their indices."""
    taken = tuple(None if way == LOST else note.ways[way]
                  for note, way in zip(notes, row, strict=True))
    return Given(taken, frozenset((PEDALS.index(way.pitch.step), way.pitch.alter + 1)
                                   for note, way in zip(notes, taken, strict=True)
                                   if way is not None and not note.free),
                  sum(note.drop if way is None else way.price
                      for note, way in zip(notes, taken, strict=True)))


def chosen(notes: Sequence[Ways], taken: Sequence[Way | None]) -> tuple[int, ...]:
    """Index of the taken way of every note; prices apart it is one of these."""
    return tuple(LOST if w is None else next(
        k for k, o in enumerate(note.ways) if o.pitch is w.pitch)
        for note, w in zip(notes, taken, strict=True))
