"""Every move inside its window, a move apart from the next of its foot, at the least price."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise, product
from types import MappingProxyType
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.model.draft import PedalPlan
from arranger.model.harp import HarpString, PedalSetting
from arranger.plan import timing
from arranger.plan.pedal_path import pedal_path
from arranger.plan.slices import Slice
from arranger.plan.timing import Use, Window, schedule, uses_of, windows
from arranger.rulebook.players import Player, load_player
from arranger.rulebook.prices import load_prices
from tests.strategies import Passage, empty_score, passages, uses_

PLAYER = load_player("average")
PRICES = load_prices()
SILENT = MappingProxyType({**PRICES, "ring": 0, "held": 0})
NATURAL = PedalSetting()


def use(onset: float, step: str, alter: int, length: float = 0.25, midi: int = 60) -> Use:
    return Use(Fraction(onset), step, alter, Fraction(onset + length), midi)


def timed(uses: Sequence[Use], bpm: int = 60, prices: Any = PRICES) -> tuple[Any, Any, Any]:
    """Plan, windows and missed windows of some uses."""
    opening, changes = windows(uses, NATURAL)
    moves, missed = schedule(empty_score(bpm=bpm), sorted({u.onset for u in uses}), changes,
                             PLAYER, prices)
    return PedalPlan(opening, moves), changes, missed


def seconds_of(change: Window, player: Player) -> float:
    two = abs(change.to_alter - change.from_alter) == 2
    return player.foot_two_notch_seconds if two else player.foot_move_seconds


def crowded(picks: Sequence[Any]) -> int:
    """What moves cost besides that come within a second after another, most within half of it."""
    price, calm = 0, PLAYER.foot_sustained_seconds
    for a, b in pairwise(sorted(m.seconds for m in picks)):
        price += PRICES["crowd"] * (b - a < calm - 1e-6)
        price += round(PRICES["bustle"] * min(1, max(0, 2 - (b - a) / calm)))
    return price


def cheapest_moments(changes: Sequence[Window], options: Sequence[Any]) -> int | None:
    """Least price over all choices of moments, in whatever order; None if a foot cannot do it."""
    best = None
    for picks in product(*options):
        price = sum(m.price for m in picks) + crowded(picks)
        order = sorted(zip(picks, changes, strict=True), key=lambda x: x[0].seconds)
        apart = all(b.seconds - a.seconds >= seconds_of(change, PLAYER) - 1e-6
                    for (a, change), (b, _) in pairwise(order))
        if apart and (best is None or price < best):
            best = price
    return best


@given(uses_())
@settings(max_examples=80, deadline=None)
def test_the_plan_serves_every_use_and_every_move_its_window(uses):
    plan, changes, _ = timed(uses)
    assert len(plan.moves) == len(changes)
    for wanted in uses:
        assert plan.at(wanted.onset).alter(wanted.letter) == wanted.alter
    for step in "DCBEFGA":
        mine = [m for m in plan.moves if m.pedal == step]
        for move, window in zip(mine, [w for w in changes if w.pedal == step], strict=True):
            assert window.after < move.onset < window.before
            assert (move.before, move.after) == (window.from_alter, window.to_alter)
            assert move.seconds == pytest.approx(float(move.onset))


@given(st.sampled_from(["DCB", "EFGA"]).flatmap(lambda s: uses_(s, 10, (1, 2, 4, 8))),
       st.sampled_from([60, 90, 120]), st.integers(0, 6))
@settings(max_examples=120, deadline=None)
def test_moments_of_a_foot_are_the_cheapest_in_any_order(uses, bpm, first):
    """Compared on three changes, whose moments are tried all with all."""
    changes = windows(uses, NATURAL)[1][first:first + 3]
    calls = []
    real = timing._place

    def spy(*given_: Any) -> Any:
        calls.append((given_, real(*given_)))
        return calls[-1][1]

    timing._place = spy
    try:
        schedule(empty_score(bpm=bpm), sorted({u.onset for u in uses}), changes, PLAYER, PRICES)
    finally:
        timing._place = real
    assert calls
    for (mine, options, *_), (placed, missed) in calls:
        thinned = [[m for i, m in enumerate(row) if m in placed or i % (1 + len(row) // 20) == 0]
                   for row in options]
        best = cheapest_moments(mine, thinned)
        assert (best is None) or not missed
        if best is not None:
            assert sum(m.price for m in placed) + crowded(placed) == best
        elif not missed:
            assert cheapest_moments(mine, [[m] for m in placed]) is not None


def test_a_tight_window_is_served_before_an_earlier_deadline_is_in_the_way():
    """D must move in the last tenth before beat 3, C any time in two beats before a bit later."""
    uses = [use(0, "C", 0), use(1.75, "D", 0), use(2, "D", 1), use(2.125, "C", 1)]
    plan, _, missed = timed(uses)
    assert not missed
    assert [m.pedal for m in plan.moves] == ["C", "D"]


@given(uses_())
@settings(max_examples=60, deadline=None)
def test_moves_of_a_foot_stand_apart_unless_missed(uses):
    plan, _, missed = timed(uses)
    for foot in "LR":
        mine = [m for m in plan.moves if m.foot == foot]
        close = [m for a, m in pairwise(mine)
                 if m.seconds - a.seconds < PLAYER.foot_move_seconds - 1e-6]
        assert len(close) <= 2 * sum((w.pedal in "DCB") == (foot == "L") for w in missed)


@given(st.sampled_from(["DCB", "CGBEA", "DCBEFGA"]).flatmap(
    lambda s: passages(s, most=16, notes=4, gaps=(0.1, 0.125, 0.25, 0.5, 1.0, 2.0))))
@settings(max_examples=60, deadline=None)
def test_what_the_search_allows_the_feet_can_time(passage):
    """Stand-ins count as spelled here: only of those does the search know when they sound."""
    onsets = [Fraction(t).limit_denominator(1000) for t in passage.times]
    parts = [Slice(o, float(o), ()) for o in onsets]
    ways = tuple(tuple(w for w in row if not w.free) for row in passage.ways)
    ways = tuple(tuple(type(w)(w.ways, w.drop, len(w.ways)) for w in row) for row in ways)
    rows = Passage(passage.times, ways, tuple(tuple(float(o) + 0.1 for _ in row)
                                              for o, row in zip(onsets, ways, strict=True)))
    path = pedal_path(parts, rows.ways, rows.ends, PLAYER, PRICES)
    uses = [use(o, w.pitch.step, w.pitch.alter, 0.1, w.pitch.midi)
            for o, row in zip(onsets, path.taken, strict=True) for w in row if w is not None]
    plan, _, missed = timed(uses)
    assert missed == ()
    for wanted in uses:
        assert plan.at(wanted.onset).alter(wanted.letter) == wanted.alter


@pytest.mark.parametrize(("bpm", "onset"), [(60, 3), (120, 3), (300, 2)])
def test_a_pedal_moves_on_the_last_beat_that_leaves_it_time(bpm, onset):
    plan, _, missed = timed([use(0, "C", 0), use(4, "C", 1)], bpm, SILENT)
    assert not missed
    assert [m.onset for m in plan.moves] == [onset]


def test_a_foot_has_its_time_across_a_repeat_too():
    """Bars of two beats at 200: C moves late in the second, D on the first beat of the repeat."""
    score = empty_score(bpm=200)
    bars = tuple(replace(b, onset=Fraction(2 * i), duration=Fraction(2))
                 for i, b in enumerate(score.measures * 4))[:4]
    uses = [use(0, "C", 0), use(0, "D", 0), use(0.5, "D", -1), use(3, "D", 0), use(3.5, "C", 0),
            use(4, "C", 1), use(4, "D", 0)]
    _, changes = windows(sorted(uses, key=lambda u: u.onset), NATURAL)
    onsets = sorted({u.onset for u in uses})
    for order in ((0, 1, 2, 3), (0, 1, 0, 1, 2, 3)):
        moves, missed = schedule(replace(score, measures=bars, playing_order=order), onsets,
                                 changes, PLAYER, PRICES)
        assert missed == ()
        last = max(m.seconds for m in moves if m.onset < 4 and m.foot == "L")
        first = min(m.seconds for m in moves if m.foot == "L")
        if order == (0, 1, 2, 3):
            plain = 1.2 - last + first
        else:
            assert 1.2 - last + first >= PLAYER.foot_move_seconds - 1e-6 > plain


@pytest.mark.parametrize(("midi", "onset"), [(60, 3), (36, Fraction(7, 2))])
def test_a_note_held_on_paper_alone_hinders_no_pedal(midi, onset):
    """C4 has fallen silent on the last beat before; C2 sounds and is left to its end."""
    plan, _, _ = timed([use(0, "C", 0, 3.5, midi), use(4, "C", 1)], 120)
    assert [m.onset for m in plan.moves] == [onset]


def busy(first: int, last: int) -> list[Use]:
    """E and G in turn, wanted otherwise at every beat: each moves on the beat before."""
    return [use(beat, "EG"[beat % 2], beat // 2 % 2, 1) for beat in range(first, last + 1)]


def test_a_long_idle_pedal_moves_before_the_foot_is_busy():
    """A is wanted at 12, E and G take the beats before; earlier the foot has nothing to do."""
    uses = [use(0, "A", 0), use(8.5, "E", 0), use(10, "E", 1), use(9.5, "G", 0),
            use(11, "G", 1), use(12, "A", 1)]
    plan, _, _ = timed(uses, 90)
    assert [m.pedal for m in plan.moves] == ["A", "E", "G"]
    assert plan.moves[0].onset >= 4


def test_a_mark_is_not_put_far_ahead_for_a_busy_foot():
    plan, _, _ = timed([use(0, "A", 0), *busy(2, 15), use(16, "A", 1)], 90)
    (onset,) = (m.onset for m in plan.moves if m.pedal == "A")
    assert onset >= 8


def test_right_foot_stands_first_at_one_moment():
    uses = [use(0, "C", 0), use(0, "A", 0), use(4, "C", 1), use(4, "A", -1)]
    plan, _, _ = timed(uses)
    assert [(m.onset, m.pedal) for m in plan.moves] == [(3, "A"), (3, "C")]


def test_letters_never_used_stand_as_in_the_key():
    opening, changes = windows([use(1, "C", 1), use(2, "C", 1)], PedalSetting.parse("Bb"))
    assert opening == PedalSetting.parse("C# Bb")
    assert changes == ()


def test_no_use_no_move():
    assert timed([])[0] == PedalPlan()
    assert uses_of([(Fraction(0), Fraction(1), HarpString(7), 0)],
                   frozenset({HarpString(7)})) == []


def test_impossible_moves_are_named_and_still_stand_in_their_windows():
    """All four pedals of the right foot in half a second."""
    uses = [use(at, step, at * 2 and 1) for at in (0, 0.5) for step in "EFGA"]
    plan, changes, missed = timed(uses)
    assert len(changes) == 4
    assert 1 <= len(missed) <= 3
    assert all(0 < m.onset < Fraction(1, 2) for m in plan.moves)


def test_a_window_remembers_every_string_of_its_old_pitch():
    """C2 is held and rings under the C6 struck with it; the C5 struck after it counts once."""
    _, (change,) = windows([use(0, "C", 0, 4, 36), use(0, "C", 0, 1, 84), use(5, "C", 1)], NATURAL)
    assert [(r.midi, r.place, r.onset, r.until) for r in change.rings] == [
        (36, 14, 0, 4), (84, 42, 0, 1)]
    _, (change,) = windows([use(0, "C", 0, 4, 36), use(1, "C", 0, 3, 72), use(2, "C", 0, 1, 72),
                            use(5, "C", 1)], NATURAL)
    assert change.after == 2
    assert [(r.midi, r.onset, r.until) for r in change.rings] == [(36, 0, 4), (72, 2, 4)]
    _, (one, two) = windows([use(0, "C", 0, 4, 36), use(5, "C", 1, 1, 61),
                                use(6, "C", 0)], NATURAL)
    assert [len(w.rings) for w in (one, two)] == [1, 1]
    assert two.rings[0].place == 28  # middle C sharp, on its string


def test_each_place_of_a_piece_may_need_its_own_order():
    """At 2 D is pressed and C must move before it; at 10 D is pressed and C must move after it."""
    uses = [use(0, "C", 0), use(1.75, "D", 0), use(2, "D", 1), use(2.125, "C", 1),
            use(10, "C", 1), use(10.0625, "D", 1), use(10.25, "D", 0), use(12, "C", 0)]
    plan, _, missed = timed(uses)
    assert not missed
    assert [m.pedal for m in plan.moves] == ["C", "D", "D", "C"]
