"""Strings and pedals: exact, and true to what a foot can do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise
from random import Random
from types import MappingProxyType

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.model.harp import PEDALS
from arranger.model.pitch import Pitch
from arranger.plan import pedal_path as module
from arranger.plan.ornaments import Wish
from arranger.plan.pedal_path import (
    FEET_AT_ONCE,
    PedalPath,
    PedalSearch,
    Way,
    Ways,
    movers,
    pedal_path,
    stations,
)
from arranger.rulebook.players import Player, load_player
from arranger.rulebook.prices import load_prices
from arranger.search.board import INFINITE, Gap
from tests.oracles import POSITIONS, brute_force, pedal_model, replay
from tests.strategies import Passage, passages

PLAYER = load_player("average")
PRICES = load_prices()
SILENT = MappingProxyType({**PRICES, "ring": 0, "held": 0})
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


@given(ANY.flatmap(passages), st.data())
@settings(max_examples=40, deadline=None)
def test_what_an_ornament_wishes_is_a_note_that_may_be_left_out(passage, data):
    """And what the feet of the same plan cost, each searched alone, is the same."""
    letters = sorted({w.pitch.step for row in passage.ways for n in row for w in n.ways}) or ["D"]
    wishes = tuple(tuple(Wish(Pitch(step, data.draw(st.integers(-1, 1)), 4),
                              data.draw(st.integers(1, 90)))
                         for step in data.draw(st.lists(st.sampled_from(letters), max_size=2)))
                   for _ in passage.ways)
    search = PedalSearch(passage.parts, passage.ways, passage.ends, PLAYER, PRICES, wishes=wishes)
    path = search.cheapest(passage.ways)
    noted = Passage(passage.times, tuple(
        (*row, *(Ways((Way(w.pitch, 0),), w.price) for w in asked))
        for row, asked in zip(passage.ways, wishes, strict=True)), tuple(
            (*row, *(time for _ in asked))
            for row, asked, time in zip(passage.ends, wishes, passage.times, strict=True)))
    assert path.total == solve(noted).total
    feet = search.given().cheapest([frozenset(
        (PEDALS.index(w.pitch.step), w.pitch.alter + 1) for n, w in zip(row, taken, strict=True)
        if w is not None and not n.free)
        for row, taken in zip(passage.ways, path.taken, strict=True)])
    assert feet is not None
    assert sum(feet.costs) + taken_price(passage, path) == path.total


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


NATURAL = Ways((Way(Pitch("C", 0, 4), 0),), 130)
SHARP = Ways((Way(Pitch("C", 1, 4), 0),), 2000)


@pytest.mark.parametrize(("gap", "held", "price"), [
    (60.0, 0.1, 10),
    (0.4, 0.1, 10 + 12 + 21),  # hurried, ringing: 30 * (10 ** (-3 * 0.15 / 4.5) - 0.1)
    (0.4, 0.5, 10 + 12 + 21 + 28),  # and the note is held: 40 times the same
    (3.2, 4.0, 10),  # held on paper, and no longer heard
])
def test_a_move_costs_what_the_prices_say(gap, held, price):
    prices = {**PRICES, "notch": 10, "hurry": 12, "ring": 30, "held": 40}
    passage = Passage((0.0, gap), ((NATURAL,), (SHARP,)), ((held,), (gap + 1,)))
    assert solve(passage, prices=prices).total == price


def test_no_pedal_moves_in_the_moment_before_a_pluck():
    """The natural is given up for the sharp a tenth of a second later, at no other price."""
    for gap, lost in ((0.1, True), (0.125, False)):
        passage = Passage((0.0, gap), ((NATURAL,), (SHARP,)), ((0.05,), (gap + 1,)))
        prices = {**PRICES, "rush": 1, "hurry": 0, "ring": 0, "held": 0}
        assert (solve(passage, prices=prices).taken[0] == (None,)) is lost


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


def captured(passage: Passage, player: Player) -> list[Gap]:
    """Gaps that ``pedal_path`` gives to the search."""
    seen: list[Gap] = []
    real = module.PositionSearch
    module.PositionSearch = lambda g, *rest: (seen.extend(g), real(g, *rest))[1]
    try:
        solve(passage, player)
    finally:
        module.PositionSearch = real
    return seen


@given(st.just("DCBEFGA").flatmap(lambda s: passages(s, most=8)), st.data())
@settings(max_examples=60, deadline=None)
def test_found_anew_where_prices_changed(passage, data):
    """Equal to a search from nothing, whatever changed since the last one."""
    search = PedalSearch(passage.parts, passage.ways, passage.ends, PLAYER, PRICES)
    rows = [list(row) for row in passage.ways]
    search.cheapest(tuple(map(tuple, rows)))
    for _ in range(3):
        for row in rows:
            for i, note in enumerate(row):
                if data.draw(st.integers(0, 3)) == 0:
                    more = data.draw(st.integers(0, 50))
                    row[i] = replace(note, drop=note.drop + more, ways=tuple(
                        replace(w, price=w.price + more * (k % 2))
                        for k, w in enumerate(note.ways)))
        fresh = pedal_path(passage.parts, rows, passage.ends, PLAYER, PRICES)
        assert search.cheapest(tuple(map(tuple, rows))) == fresh


@given(st.just("DCBEFGA").flatmap(lambda s: passages(s, most=12, notes=5)))
@settings(max_examples=30, deadline=None)
def test_look_back_never_reaches_past_what_the_search_remembers(passage):
    """The search forgets what lies behind a gap's look-back: the next may look one node further."""
    student = load_player("student")
    notch = movers(student, PRICES).notch
    for before, after in pairwise(captured(passage, student)):
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
def test_settings_pinned_closer_than_the_feet_are_met_as_far_as_they_can_be(gap):
    """Two repeats may pin settings that no foot can join: a price, no crash and no nonsense."""
    passage = Passage((0.0, gap, 2 * gap), ((SHARP,),) * 3, ((9.0,),) * 3)
    path = solve(passage, pins={0: (0,) * 7, 1: (2,) * 7, 2: (1,) * 7})
    assert len(path.states) == 3
    assert 10_000 < path.total < INFINITE
    nodes, gaps = model(passage)
    assert replay([POSITIONS.index(s) for s in path.states], nodes, gaps,
                  movers(PLAYER, PRICES)) is not None


@pytest.mark.parametrize("seconds", [0.25, 0.28, 0.33])
def test_the_clock_of_the_search_never_gives_a_foot_less_than_it_needs(seconds):
    player = replace(PLAYER, foot_move_seconds=seconds, foot_two_notch_seconds=1.5 * seconds)
    found = movers(player, PRICES)
    assert found.notch >= 16 * seconds - 1e-6
    assert found.double >= 24 * seconds - 1e-6


def test_a_slow_foot_remembers_all_that_lies_within_one_move():
    """Nine stations less than three quarters of a second back: the tenth must wait its turn."""
    student = load_player("student")
    count = 10
    times = tuple(0.0801 * t for t in range(count))
    rows = [()] * count
    rows[0] = (Ways((Way(Pitch("D", 0, 4), 0),), 2000), Ways((Way(Pitch("C", 0, 4), 0),), 2000))
    passage = Passage(times, tuple(rows), tuple((9.0,) * len(r) for r in rows))
    assert all(gap.look_back == t for t, gap in enumerate(captured(passage, student)))


def closest_moves(passage: Passage, path: PedalPath) -> float:
    """Least time from a pluck to the next setting of its letter."""
    last: dict[str, float] = {}
    least = 9.0
    for at, time in enumerate(passage.times):
        for p, step in enumerate(PEDALS):
            if at and path.states[at][p] != path.states[at - 1][p]:
                least = min(least, time - last.get(step, -9.0))
        for note, way in zip(passage.ways[at], path.taken[at], strict=True):
            if way is not None and not note.free:
                last[way.pitch.step] = time
    return least


@given(st.just("DCBEFGA").flatmap(lambda s: passages(s, most=12, notes=4)))
@settings(max_examples=30, deadline=None)
def test_no_pedal_moves_off_a_note_just_plucked(passage):
    assert closest_moves(passage, solve(passage)) > PLAYER.pedal_lead_seconds


def test_no_pedal_moves_off_a_stand_in_just_plucked():
    """D flat stands in for D sharp; a twelfth of a second later D natural is wanted."""
    low = Ways((Way(Pitch("D", 1, 4), 90), Way(Pitch("D", -1, 4), 0)), 130)
    high = Ways((Way(Pitch("D", 0, 4), 0),), 2000)
    passage = Passage((0.0, 0.04, 0.09), ((low,), (), (high,)), ((0.1,), (), (0.2,)))
    assert closest_moves(passage, solve(passage)) > PLAYER.pedal_lead_seconds
