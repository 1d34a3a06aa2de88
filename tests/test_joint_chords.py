"""The joint plan against every hand and finger of five chords of four notes, a string a pitch."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.plan.grip_costs import GripCosts
from arranger.plan.hand_search import Scene
from arranger.plan.joint import plan
from arranger.plan.universe import LOST, Choice, Choices
from arranger.search.two_hands import FREE
from tests.test_joint import PLAYER, PRICES, USUAL, WHOLE, pedals_of, scene

#: Two fingers a hand: at most two strings at once.
TWO = replace(PLAYER, fingers_per_hand=2)
NAMES = ["C3", "E3", "G3", "B3", "C4", "C#4", "D4", "E4", "F4", "F#4", "G4", "A4", "B4", "C5", "E5"]
Row = tuple[int, ...]  #: way of every note of a slice
Held = tuple[tuple[int, float], tuple[int, float]]  #: last grip and its time, of both hands

#: What the program weighs, solved to the end; and the same with nothing thinned.
PROVED = replace(USUAL, rounds=30, patience=30, gain=10**9, proof=10**6, near=10**9,
                 branches=400, margin=0)
UNTHINNED = replace(PROVED, patterns=10**6, changes=99, thinned=10**6, choices=10**6)


def one_string(where: Scene) -> Scene:
    """The same with the written string of every note alone."""
    return replace(where, ways=tuple(tuple(replace(note, ways=note.ways[:1], spelled=1)
                                           for note in row) for row in where.ways))


@st.composite
def chords(draw: st.DrawFn) -> Scene:
    """Five slices of at most four notes, quick ones and single notes among them."""
    time, found = 0.0, []
    for _ in range(5):
        time += draw(st.sampled_from([0.1, 0.1, 0.15, 0.3, 0.6]))
        count = draw(st.sampled_from([4, 4, 4, 2, 1]))
        names = draw(st.lists(st.sampled_from(NAMES), min_size=count, max_size=count, unique=True))
        found.append((time, [(n, draw(st.sampled_from("LR"))) for n in names]))
    return one_string(scene(found))


class Exhaustive:
    """Every way of both hands through a scene, tried in depth, left where it is too dear."""

    def __init__(self, where: Scene) -> None:
        self._where = where
        self._costs = GripCosts(TWO, PRICES)
        made = Choices(TWO, PRICES, where.places, WHOLE.thinned)
        self._rows = [self._by_ways(made, at) for at in range(len(where.parts))]

    def _by_ways(self, made: Choices, at: int) -> dict[Row, list[Choice]]:
        tones, ways = self._where.tones[at], self._where.ways[at]
        found: dict[Row, list[Choice]] = {}
        for pattern in product((0, LOST), repeat=len(ways)):
            for choice in made.of(tones, ways, pattern):
                if choice.ways == pattern:
                    found.setdefault(pattern, []).append(choice)
        return found

    def notes(self, ways: Sequence[Row]) -> int:
        """Price of what is lost."""
        return sum(note.drop for notes, row in zip(self._where.ways, ways, strict=True)
                   for note, way in zip(notes, row, strict=True) if way == LOST)

    def losses(self, limit: int) -> Iterator[tuple[Row, ...]]:
        """All that may be lost for less than ``limit``."""
        def grow(at: int, left: int, so_far: tuple[Row, ...]) -> Iterator[tuple[Row, ...]]:
            if at == len(self._rows):
                yield so_far
                return
            for row in self._rows[at]:
                price = sum(note.drop for note, way in zip(self._where.ways[at], row, strict=True)
                            if way == LOST)
                if price < left:
                    yield from grow(at + 1, left - price, (*so_far, row))
        return grow(0, limit, ())

    def hands(self, ways: Sequence[Row], limit: int) -> int:
        """The least price of hands that pluck just these notes; ``limit`` if it is no less."""
        self._best = limit
        options = [self._rows[at][row] for at, row in enumerate(ways)]
        self._deepen(options, self._ahead(options), 0, 0, ((FREE, 0.0), (FREE, 0.0)))
        return self._best

    def least(self, ways: Sequence[Row]) -> int:
        """What hands that pluck these notes cost at least."""
        return int(self._ahead([self._rows[at][row] for at, row in enumerate(ways)])[0].min())

    def _ahead(self, options: Sequence[Sequence[Choice]]) -> list[np.ndarray]:
        """What every option and all after it cost at least: each hand remembers one slice only."""
        found = [np.array([c.price for c in options[-1]])]
        for at in range(len(options) - 2, -1, -1):
            onward = self._onward(options[at], options[at + 1], at) + found[0]
            found.insert(0, np.array([c.price for c in options[at]]) + onward.min(axis=1))
        return found

    def _onward(self, olds: Sequence[Choice], news: Sequence[Choice], at: int) -> np.ndarray:
        parts = self._where.parts
        age = np.full(len(olds), parts[at + 1].seconds - parts[at].seconds)
        a, b = (np.array([[FREE if g is None else self._costs.number(g)
                           for g in (c.left, c.right)] for c in row]) for row in (olds, news))
        total = np.zeros((len(a), len(b)), dtype=np.int64)
        if age[0] > self._costs.horizon:
            return total
        for worker in (0, 1):
            for price, mine in ((self._costs.own, worker), (self._costs.across, 1 - worker)):
                real = (a[:, worker] != FREE)[:, None] & (b[:, mine] != FREE)[None, :]
                total += np.where(real, price(worker, np.maximum(a[:, worker], 0), age,
                                              np.maximum(b[:, mine], 0)), 0)
        return total

    def _deepen(self, options: Sequence[Sequence[Choice]], ahead: Sequence[np.ndarray], at: int,
                paid: int, held: Held) -> None:
        if at == len(options):
            self._best = min(self._best, paid)
            return
        now = self._where.parts[at].seconds
        for k, choice in enumerate(options[at]):
            before = paid + self._after(held, choice, now)
            if before + int(ahead[at][k]) < self._best:
                after = tuple(old if grip is None else (self._costs.number(grip), now)
                              for old, grip in zip(held, (choice.left, choice.right), strict=True))
                self._deepen(options, ahead, at + 1, before + choice.price, (after[0], after[1]))

    def _after(self, held: Held, choice: Choice, now: float) -> int:
        """What the grips of a choice cost after those held."""
        total = 0
        new = [None if g is None else np.array([self._costs.number(g)])
               for g in (choice.left, choice.right)]
        for worker, (grip, time) in enumerate(held):
            if grip == FREE or now - time > self._costs.horizon:
                continue
            old, age = np.array([grip]), np.array([now - time])
            for price, grips in ((self._costs.own, new[worker]),
                                 (self._costs.across, new[1 - worker])):
                if grips is not None:
                    total += int(price(worker, old, age, grips)[0, 0])
        return total


def cheapest(where: Scene, limit: int) -> int:
    """The least price of all hands, fingers and losses; ``limit`` if it is no less."""
    search, best = Exhaustive(where), limit
    for ways in sorted(search.losses(limit), key=search.notes):
        notes = search.notes(ways)
        if notes >= best:
            break
        if notes + search.least(ways) < best:
            fixed = pedals_of(where, ways)  # with what is lost
            best = fixed + search.hands(ways, best - fixed) if fixed < best else best
    return best


def _of_many(check: Callable[[Scene], None], examples: int) -> None:
    @given(chords())
    @settings(max_examples=examples, deadline=None)
    def every(where):
        check(where)
    every()


def _equals_every_way(where: Scene) -> None:
    found = plan(replace(where, universe=WHOLE), TWO, PRICES)
    assert found.bound == found.total == cheapest(where, found.total + 1)


def _equals_its_twin(where: Scene) -> None:
    thinned, twin = (plan(replace(where, universe=u), TWO, PRICES) for u in (PROVED, UNTHINNED))
    assert thinned.total == twin.total


@pytest.mark.parametrize("check", [_equals_every_way, _equals_its_twin])
def test_chords(check):
    _of_many(check, 4)


@pytest.mark.campaign
@pytest.mark.parametrize("check", [_equals_every_way, _equals_its_twin])
def test_chords_at_length(check):
    _of_many(check, 150)
