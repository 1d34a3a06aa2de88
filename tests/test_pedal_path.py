"""Strings and pedals: exact, and true to what a foot can do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from random import Random
from types import MappingProxyType

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from arranger.model.harp import PEDALS
from arranger.model.pitch import Pitch
from arranger.plan import pedal_path as module
from arranger.plan.pedal_path import (
    FEET_AT_ONCE,
    PedalPath,
    Way,
    Ways,
    movers,
    pedal_path,
    stations,
)
from arranger.rulebook.players import Player, load_player
from arranger.rulebook.prices import load_prices
from arranger.search.positions import INFINITE, cheapest
from tests.oracles import POSITIONS, brute_force, pedal_model, replay
from tests.strategies import Passage, passages

PLAYER = load_player("average")
PRICES = load_prices()
SILENT = MappingProxyType({**PRICES, "ring": 0})
LETTERS = ("DCB", "EFG", "DEA", "CGB")
ANY = st.sampled_from(LETTERS)
APART = (0.1, 0.15, 0.25, 0.4, 0.6, 1.5, 4.0)


def solve(passage: Passage, player: Player = PLAYER, prices: Mapping[str, int] = PRICES,
          pins: Mapping[int, tuple[int, ...]] | None = None) -> PedalPath:
    return pedal_path(passage.parts, passage.ways, passage.ends, player, prices, pins)


def model(passage: Passage, player: Player = PLAYER,
          pins: Mapping[int, tuple[int, ...]] | None = None):  # type: ignore[no-untyped-def]
    return pedal_model(passage.times, passage.ways, passage.ends, player, PRICES, pins or {})


def taken_price(passage: Passage, path: PedalPath) -> int:
    """Price of the notes; every taken way must be open."""
    price = 0
    for row, taken, state in zip(passage.ways, path.taken, path.states, strict=True):
        for note, way in zip(row, taken, strict=True):
            assert way is None or way in note.ways
            assert way is None or note.free or (
                state[PEDALS.index(way.pitch.step)] == way.pitch.alter + 1)
            price += note.drop if way is None else way.price
    return price


@given(ANY.flatmap(passages), st.data())
@settings(max_examples=40, deadline=None)
def test_total_equals_brute_force_over_settings_and_ways(passage, data):
    free = {step for row in passage.ways for n in row for w in n.ways for step in w.pitch.step}
    still = [i for i, s in enumerate(POSITIONS)
             if any(s[p] != 1 for p, step in enumerate(PEDALS) if step not in free)]
    pins = {}
    if data.draw(st.booleans()):
        pinned = tuple(data.draw(st.integers(0, 2)) if step in free else 1 for step in PEDALS)
        pins = {data.draw(st.integers(0, len(passage.times) - 1)): pinned}
    nodes, gaps = model(passage, pins=pins)
    for node in nodes:
        node[still] = INFINITE
    path = solve(passage, pins=pins)
    assert path.total == brute_force(nodes, gaps, movers(PLAYER, PRICES))
    assert all(path.states[at] == pin for at, pin in pins.items())


@given(st.just("DCBEFGA").flatmap(lambda s: passages(s, most=20, notes=5)))
@settings(max_examples=40, deadline=None)
def test_total_is_the_price_of_what_is_taken_and_moved(passage):
    path = solve(passage)
    nodes, gaps = model(passage)
    firsts = stations(passage.times)
    states = [POSITIONS.index(path.states[f]) for f in firsts]
    assert replay(states, nodes, gaps, movers(PLAYER, PRICES)) == path.total
    moves = replay(states, [np.zeros_like(n) for n in nodes], gaps, movers(PLAYER, PRICES))
    assert taken_price(passage, path) + moves == path.total
    assert solve(passage) == path


def test_the_rings_and_wants_of_a_gap_are_those_of_the_rulebook():
    """C4 at 0 s, C#4 at 0.4 s: hurried and ringing; at 0.2 s the pedal cannot move at all."""
    def total(gap: float, held: float) -> int:
        passage = Passage((0.0, gap), ((natural,), (sharp,)), ((held,), (gap + 1,)))
        return solve(passage).total

    natural = Ways((Way(Pitch("C", 0, 4), 0),), 130)
    sharp = Ways((Way(Pitch("C", 1, 4), 0),), 2000)
    ring = round(30 * (10 ** (-3 * 0.15 / 4.502) - 0.1))
    assert total(0.4, 0.1) == 10 + 12 + ring
    assert total(0.4, 0.5) == 10 + 12 + 40 + ring
    assert total(0.2, 0.1) == 130
    assert total(60.0, 0.1) == 10


def test_slices_closer_than_the_feet_share_one_setting():
    assert stations([]) == ()
    assert stations([0.0, 0.05, FEET_AT_ONCE, 0.1, 1.0]) == (0, 2, 4)


@given(st.just("DCB").flatmap(lambda s: passages(s, most=12, gaps=(0.01, 0.04, 0.07, 0.3))))
@settings(max_examples=30, deadline=None)
def test_states_change_at_stations_only(passage):
    path = solve(passage)
    firsts = set(stations(passage.times))
    for at in range(1, len(path.states)):
        assert at in firsts or path.states[at] == path.states[at - 1]


@given(st.just("DCBEFGA").flatmap(lambda s: passages(s, most=12, notes=5)))
@settings(max_examples=30, deadline=None)
def test_look_back_never_reaches_past_what_the_search_remembers(passage):
    """The search forgets what lies behind a gap's look-back: the next may look one node further."""
    seen = []
    real = module.cheapest
    module.cheapest = lambda n, g, m: (seen.extend(g), cheapest(n, g, m))[1]
    try:
        solve(passage, load_player("student"))
    finally:
        module.cheapest = real
    notch = movers(load_player("student"), PRICES).notch
    for before, after in zip(seen, seen[1:], strict=False):
        if after.work < notch:
            assert after.look_back <= (before.look_back if before.work < notch else 0) + 1


@given(st.just("CGBEA").flatmap(lambda s: passages(s, most=12, notes=4)))
@settings(max_examples=30, deadline=None)
def test_fewer_constraints_never_raise_the_optimum(passage):
    total = solve(passage).total
    quick = replace(PLAYER, foot_move_seconds=0.125, foot_two_notch_seconds=0.1875)
    assert solve(passage, quick).total <= total
    assert solve(passage, replace(PLAYER, foot_sustained_seconds=0.25)).total <= total
    assert solve(passage, replace(PLAYER, foot_two_notch_seconds=0.25)).total <= total
    for price in ("ring", "held", "hurry", "crowd", "notch"):
        assert solve(passage, prices={**PRICES, price: 0}).total <= total
    for at in range(len(passage.times)):
        fewer = Passage(passage.times, tuple(w if i != at else () for i, w in
                                             enumerate(passage.ways)),
                        tuple(e if i != at else () for i, e in enumerate(passage.ends)))
        assert solve(fewer).total <= total


@given(st.just("CGBEA").flatmap(lambda s: passages(s, most=10, notes=4, gaps=APART)),
       st.sampled_from([1.01, 1.3, 2.0, 7.0]))
@settings(max_examples=30, deadline=None)
def test_a_slower_tempo_never_raises_the_optimum(passage, factor):
    """Where no two slices count as one for the feet."""
    assert solve(passage.slower(factor)).total <= solve(passage).total


def test_a_slower_tempo_may_regroup_what_the_feet_take_as_one():
    """Why the property above asks for slices apart: groups are not nested."""
    assert stations([0.0, 0.06, 0.1]) == (0, 2)
    assert stations([0.0, 0.084, 0.14]) == (0, 1)


@given(st.just("CGBEA").flatmap(lambda s: passages(s, most=10, notes=4)), st.randoms())
@settings(max_examples=30, deadline=None)
def test_octaves_do_not_matter_where_nothing_rings(passage, random):
    def elsewhere(note: Ways) -> Ways:
        return replace(note, ways=tuple(Way(replace(w.pitch, octave=random.randint(0, 8)), w.price)
                                        for w in note.ways))

    moved = Passage(passage.times, tuple(tuple(elsewhere(n) for n in row) for row in passage.ways),
                    passage.ends)
    one, two = solve(passage, prices=SILENT), solve(moved, prices=SILENT)
    assert (one.total, one.states) == (two.total, two.states)
    assert [[w and w.pitch.step for w in row] for row in one.taken] == [
        [w and w.pitch.step for w in row] for row in two.taken]


@given(st.just("DCBEFGA").flatmap(lambda s: passages(s, most=8, notes=5)), st.integers(0, 99))
@settings(max_examples=30, deadline=None)
def test_the_order_of_simultaneous_notes_does_not_matter(passage, seed):
    orders = [Random(seed + at).sample(range(len(row)), len(row))
              for at, row in enumerate(passage.ways)]
    mixed = Passage(passage.times,
                    tuple(tuple(row[i] for i in order) for row, order in
                          zip(passage.ways, orders, strict=True)),
                    tuple(tuple(row[i] for i in order) for row, order in
                          zip(passage.ends, orders, strict=True)))
    one, two = solve(passage), solve(mixed)
    assert (one.total, one.states) == (two.total, two.states)
    assert two.taken == tuple(tuple(row[i] for i in order) for row, order in
                              zip(one.taken, orders, strict=True))


def test_an_empty_part_needs_no_pedals():
    assert solve(Passage((), (), ())) == PedalPath((), (), 0)


@pytest.mark.parametrize("gap", [0.1, 0.3])
def test_settings_pinned_closer_than_the_feet_are_no_crash(gap):
    """Two repeats may pin settings that no foot can join; the plan comes near, at a price."""
    passage = Passage((0.0, gap), ((), ()), ((), ()))
    path = solve(passage, pins={0: (0,) * 7, 1: (2,) * 7})
    assert len(path.states) == 2
    assert path.total > 10_000


@given(st.just("DCBEFGA").flatmap(lambda s: passages(s, most=12, notes=4)))
@settings(max_examples=60, deadline=None)
def test_no_pedal_moves_under_the_foot_of_a_note_just_plucked(passage):
    """Between the pluck of a letter and its next setting lies at least one move."""
    assume(len(passage.times) > 1)
    path = solve(passage)
    last: dict[str, float] = {}
    for at, time in enumerate(passage.times):
        before = path.states[at - 1] if at else path.states[0]
        for p, step in enumerate(PEDALS):
            if path.states[at][p] != before[p]:
                assert time - last.get(step, -9.0) >= PLAYER.foot_move_seconds - 1e-6, (step, time)
        for note, way in zip(passage.ways[at], path.taken[at], strict=True):
            if way is not None and not note.free:
                last[way.pitch.step] = time
