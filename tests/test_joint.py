"""The joint plan against every way to string, hold and finger short passages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.model.draft import HarpNote
from arranger.model.pitch import Pitch
from arranger.model.score import Note
from arranger.plan.grip_costs import GripCosts
from arranger.plan.hand_options import Tone
from arranger.plan.hand_search import Scene
from arranger.plan.joint import plan
from arranger.plan.pedal_path import Way, Ways, pedal_path
from arranger.plan.recall import Recall
from arranger.plan.slices import Slice
from arranger.plan.universe import LOST, Choice, Choices
from arranger.plan.whole import Start
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player
from arranger.rulebook.prices import load_prices
from arranger.rulebook.universe import Universe, load_universe
from arranger.search.two_hands import FREE, INFINITE

PLAYER, PRICES, HARP = load_player("average"), load_prices(), load_harp("pedal-47")
WHOLE = Universe(patterns=10**6, changes=99, asked=99, thinned=10**6, choices=10**6,
                 touchy_only=0, rounds=30, patience=30, gain=10**9, proof=10**6,
                 near=10**9, branches=400, margin=0)
NEVER = 1 << 18
NAMES = ["C4", "C#4", "D4", "Eb4", "E4", "F4", "F#4", "B3", "G4", "A4", "C5", "E5"]


def scene(slices: Sequence[tuple[float, Sequence[tuple[str, str]]]],
          universe: Universe = WHOLE) -> Scene:
    """Slices of (seconds, notes as name and hand), every note with all its strings and its loss."""
    parts, rows, tones = [], [], []
    for t, (time, named) in enumerate(slices):
        notes, ways, held = [], [], []
        for k, (name, hand) in enumerate(sorted(named, key=lambda n: Pitch.parse(n[0]).midi)):
            pitch = Pitch.parse(name)
            own = Note(f"n{t}.{k}", "P1", 0, Fraction(t), Fraction(1), pitch,
                       1 if hand == "R" else 2, "1", chord=t)
            notes.append(HarpNote(own, pitch, hand))
            spelled = sorted(HARP.spellings(pitch.midi), key=lambda p: (p != pitch, abs(p.alter)))
            ways.append(Ways(tuple(Way(p, 0 if p == pitch else PRICES["respell"])
                                   for p in spelled), 90 + 40 * k, len(spelled)))
            held.append(Tone(pitch, hand, 90 + 40 * k, True, False, False, t))
        parts.append(Slice(Fraction(t), time, tuple(notes)))
        rows.append(tuple(ways))
        tones.append(tuple(held))
    ends = tuple(tuple(p.seconds + 0.3 for _ in p.notes) for p in parts)
    return Scene(tuple(parts), tuple(rows), ends, tuple(tones),
                 frozenset(range(60)), universe=universe)


def every_choice(where: Scene, at: int) -> list[Choice]:
    """All ways of a slice: each note on each string or left out, each hand, each finger."""
    found = []
    for pattern in product(*(range(LOST, len(w.ways)) for w in where.ways[at])):
        found += [c for c in Choices(PLAYER, PRICES, where.places, WHOLE.thinned).of(
            where.tones[at], where.ways[at], pattern) if c.ways == pattern]
    return found



def cheapest(where: Scene) -> int:
    """The least price over all choices, tried one by one (three slices at most)."""
    costs = GripCosts(PLAYER, PRICES)
    rows = [every_choice(where, t) for t in range(len(where.parts))]
    held = [np.array([[FREE if g is None else costs.number(g) for g in (c.left, c.right)]
                      for c in row]) for row in rows]
    patterns = [sorted({c.ways for c in row}) for row in rows]
    of = [np.array([patterns[t].index(c.ways) for c in row]) for t, row in enumerate(rows)]
    own = [np.array([c.price for c in row]) for row in rows]
    total = own[0].reshape(-1, *[1] * (len(rows) - 1))
    for t in range(1, len(rows)):
        total = total + own[t].reshape(*[1] * t, -1, *[1] * (len(rows) - 1 - t))
    for new in range(1, len(rows)):
        for old in range(new):
            total = total + _between(costs, where, held, old, new, len(rows))
    names = [dict.fromkeys(range(len(p))) for p in patterns]
    best = INFINITE
    shaped = {}
    for which in product(*names):
        part = total[np.ix_(*[np.nonzero(of[t] == w)[0] for t, w in enumerate(which)])]
        ways = [patterns[t][w] for t, w in enumerate(which)]
        notes = sum(where.ways[t][i].drop if w == LOST else where.ways[t][i].ways[w].price
                    for t, row in enumerate(ways) for i, w in enumerate(row))
        shaped[tuple(ways)] = (int(part.min()), notes)
    for ways, (hands, notes) in sorted(shaped.items(), key=lambda kv: sum(kv[1])):
        if hands + notes >= best:
            break
        best = min(best, hands + pedals_of(where, ways))
    return best


def _between(costs: GripCosts, where: Scene, held: Sequence[np.ndarray], old: int, new: int,
             count: int) -> np.ndarray:
    """Prices between two slices, where the hand has rested in those between."""
    age = where.parts[new].seconds - where.parts[old].seconds
    shape = [len(h) for h in held]
    total = np.zeros(shape, dtype=np.int64)
    if age > PLAYER.grip_memory_seconds:
        return total
    for worker in (0, 1):
        a, b = held[old][:, worker], held[new]
        ages = np.full(len(a), age)
        rest = np.ones(shape, dtype=bool)
        for mid in range(old + 1, new):
            idle = held[mid][:, worker] == FREE
            rest &= idle.reshape([-1 if t == mid else 1 for t in range(count)])
        for table, mine in ((costs.own(worker, np.where(a == FREE, 0, a), ages,
                                       np.where(b[:, worker] == FREE, 0, b[:, worker])), worker),
                            (costs.across(worker, np.where(a == FREE, 0, a), ages,
                                          np.where(b[:, 1 - worker] == FREE, 0, b[:, 1 - worker])),
                             1 - worker)):
            real = (a != FREE)[:, None] & (b[:, mine] != FREE)[None, :]
            price = np.where(real, table, 0)
            price = price.reshape([len(a) if t == old else shape[new] if t == new else 1
                                   for t in range(count)])
            total = total + np.where(rest, price, 0)
    return total


def pedals_of(where: Scene, ways: Sequence[Sequence[int]]) -> int:
    """Price of pedals and notes when every note goes this way."""
    forced = [[replace(note, ways=tuple(Way(w.pitch, w.price if k == way else NEVER)
                                        for k, w in enumerate(note.ways)),
                       drop=note.drop if way == LOST else NEVER)
               for note, way in zip(row, mine, strict=True)]
              for row, mine in zip(where.ways, ways, strict=True)]
    return pedal_path(where.parts, forced, where.ends, PLAYER, PRICES).total


@st.composite
def passages(draw: st.DrawFn, most: int = 3) -> list[tuple[float, list[tuple[str, str]]]]:
    time, found = 0.0, []
    for _ in range(draw(st.integers(2, most))):
        time += draw(st.sampled_from([0.08, 0.1, 0.15, 0.25, 0.5]))
        names = draw(st.lists(st.sampled_from(NAMES), min_size=1, max_size=2, unique=True))
        found.append((time, [(n, draw(st.sampled_from("LR"))) for n in names]))
    return found


def test_equal_to_every_way():
    _against_every_way(12)


@pytest.mark.campaign
def test_equal_to_every_way_at_length():
    _against_every_way(400)


def _against_every_way(examples: int) -> None:
    @given(passages())
    @settings(max_examples=examples, deadline=None)
    def check(passage):
        where = scene(passage)
        found = plan(where, PLAYER, PRICES)
        assert found.total == found.bound == cheapest(where)
    check()


QUICK = [(0.08 * k, [("C#4", "R")]) for k in range(1, 4)]


def test_quick_notes_take_both_strings_of_a_unison():
    """Berlioz 1855, ch. "La Harpe": what one string cannot repeat, two in unison can."""
    found = plan(scene(QUICK), PLAYER, PRICES)
    assert [row[0] for row in found.ways] in ([0, 1, 0], [1, 0, 1])


def test_a_cut_universe_leaves_a_gap_to_the_whole_one():
    """Without other strings for the hands a note must go that the whole universe keeps."""
    cut = scene(QUICK, replace(WHOLE, changes=0, asked=1))
    assert plan(cut, PLAYER, PRICES).total > plan(scene(QUICK), PLAYER, PRICES).total


@given(passages(most=4))
@settings(max_examples=12, deadline=None)
def test_a_plan_starts_from_what_is_known_and_no_proof_changes_it(passage):
    """From the best plan one round is enough; where nothing is known, nothing hangs on a proof."""
    where = scene(passage, replace(WHOLE, rounds=1, patience=1, branches=0, proof=1000))
    best = plan(scene(passage), PLAYER, PRICES)
    known = Start({}, dict(enumerate(best.ways)))
    assert plan(where, PLAYER, PRICES, prove=0, start=known).total == best.total
    unproved, proved = (plan(where, PLAYER, PRICES, prove=work, start=Start({}, {}))
                        for work in (0, 1))
    assert proved.moments == unproved.moments
    assert unproved.bound <= proved.bound <= best.total


@given(passages(most=6))
@settings(max_examples=25, deadline=None)
def test_a_larger_hand_and_quicker_feet_never_cost_more(passage):
    """Of what is proved: the bound of the easier task is no higher than any plan of the harder."""
    easier = replace(PLAYER, span_steps=PLAYER.span_steps + 1,
                     comfortable_span_steps=PLAYER.comfortable_span_steps + 1,
                     foot_move_seconds=PLAYER.foot_move_seconds / 2,
                     foot_two_notch_seconds=PLAYER.foot_two_notch_seconds / 2)
    where = scene(passage, replace(WHOLE, branches=60))
    assert plan(where, easier, PRICES).bound <= plan(where, PLAYER, PRICES).total


USUAL = load_universe()


@given(passages(most=12), st.data())
@settings(max_examples=40, deadline=None)
def test_a_plan_is_the_same_whatever_is_recalled(passage, data):
    """Asked again with other notes at one moment, with and without what the first plan found."""
    at = data.draw(st.integers(0, len(passage) - 1))
    other = data.draw(passages(most=2))[0][1]
    changed = [*passage[:at], (passage[at][0], other), *passage[at + 1:]]
    recall = Recall()
    for asked in (passage, changed, passage):
        where = scene(asked, USUAL)
        one, other = plan(where, PLAYER, PRICES, recall=recall), plan(where, PLAYER, PRICES)
        assert (one.ways, one.hands, one.pedals, one.total, one.bound) == (
            other.ways, other.hands, other.pedals, other.total, other.bound)


@given(passages(most=12))
@settings(max_examples=30, deadline=None)
def test_a_longer_proof_raises_the_bound_and_lowers_the_plan(passage):
    where = scene(passage, USUAL)
    one, two, three = (plan(where, PLAYER, PRICES, prove=work) for work in (0, 1, 10))
    assert one.bound <= two.bound <= three.bound <= three.total - three.stays
    assert one.total - one.stays >= two.total - two.stays >= three.total - three.stays


@given(passages(most=12))
@settings(max_examples=20, deadline=None)
def test_a_plan_costs_what_a_search_of_all_its_settings_finds(passage):
    """Its feet, searched one at a time, against both searched at once; crossed plans as well."""
    where = scene(passage, USUAL)
    found = plan(where, PLAYER, PRICES)
    assert found.pedal_total == pedals_of(where, found.ways)
    assert found.bound <= found.total


def test_every_note_of_a_choice_is_plucked():
    # two notes on one string: where a wide chord must do without it, neither sounds
    names = ("C2", "C3", "G3", "C4", "C4", "E4", "G4", "E5", "C6", "E6")
    where = scene([(0.0, [(n, "L" if k < 4 else "R") for k, n in enumerate(names)])])
    tones = tuple(replace(t, fixed=False) for t in where.tones[0] if t is not None)
    ways = where.ways[0]
    made = Choices(PLAYER, PRICES, where.places, load_universe().thinned).of(
        tones, ways, (0,) * len(ways))
    twins = [i for i, t in enumerate(tones) if t.pitch.midi == 60]
    assert {tuple(c.ways[i] for i in twins) for c in made} >= {(LOST, LOST), (0, 0)}
    for choice in made:
        plucked = {s for grip in (choice.left, choice.right) if grip for s in grip.strings}
        for i, way in enumerate(choice.ways):
            if way != LOST:
                assert dict(choice.octaves).get(i, ways[i].ways[way].pitch).position in plucked


@pytest.mark.parametrize("searches", [True, False])
def test_what_plans_to_come_would_ask_for_is_kept_only_where_they_come(searches):
    recall = Recall(searches=searches)
    made = [recall.lasting("row", object) for _ in range(2)]
    assert (made[0] is made[1]) == searches
    assert recall.get("ground", object) is recall.get("ground", object)
