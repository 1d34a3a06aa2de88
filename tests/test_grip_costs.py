"""Compiled price tables of grips against the same rules told in plain sets and sums."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.plan.grip_costs import IMPOSSIBLE, GripCosts
from arranger.plan.grips import Grip
from arranger.rulebook.players import load_player
from arranger.rulebook.prices import load_prices
from arranger.search.compiled import compiled, kept
from arranger.search.two_hands import FREE

PLAYER, PRICES = load_player("average"), load_prices()
WIRE_TOP = 15  # any string, so that some of the drawn grips lie below
AGES = sorted({t + d for t in (
    PLAYER.restrike_error_seconds, PLAYER.restrike_warning_seconds, PLAYER.restrike_free_seconds,
    PLAYER.same_finger_seconds, PLAYER.placing_lead_seconds, PLAYER.afresh_seconds,
    PLAYER.collision_seconds, 2.0, 2 * PLAYER.restrike_error_seconds,
    2 * PLAYER.restrike_warning_seconds, 2 * PLAYER.restrike_free_seconds)
    for d in (-0.01, 0.0, 0.01)} - {-0.01, 0.0})


@st.composite
def grips(draw: st.DrawFn) -> Grip:
    strings = sorted(draw(st.sets(st.integers(5, 30), min_size=1, max_size=4)))
    fingers = sorted(draw(st.sets(st.integers(1, 4), min_size=len(strings),
                                  max_size=len(strings))), reverse=True)
    return Grip(tuple(strings), tuple(fingers), exposed=draw(st.booleans()),
                loud=draw(st.booleans()))


def weight(new: Grip) -> int:
    return 100 + PRICES["exposure"] * new.exposed


def own(old: Grip, age: float, new: Grip) -> int:
    """Travel beyond the span, turning, and what one finger or string does twice."""
    reach = PLAYER.span_steps + PLAYER.travel_steps_per_second * age
    strings = old.strings + new.strings
    price = PRICES["travel"] * max(0.0, max(strings) - min(strings) - reach)
    price += PRICES["leap"] * max(0.0, max(strings) - min(strings) - PLAYER.span_steps
                                  - PLAYER.travel_steps_per_second * age / 2)
    same = set(old.strings) & set(new.strings)
    same_strings = len(same)
    same_fingers = len(set(old.fingers) & set(new.fingers))
    slides = (old.fingers == new.fingers == (1,) and old.strings[0] - 1 == new.strings[0]
              and age <= PLAYER.afresh_seconds)
    if slides:
        return PRICES["slide"] + swung(old, age, new)
    price += sum(again(age, s <= WIRE_TOP) for s in same) * weight(new) // 100
    placed_again = (old.strings, old.fingers) == (new.strings, new.fingers) and same_strings > 1
    if age < PLAYER.same_finger_seconds - 1e-6 and not placed_again:
        price += same_fingers * PRICES["hop"]
    if age < PLAYER.placing_lead_seconds - 1e-6:
        price += max(0, same_fingers - same_strings) * PRICES["hop_quick"]
        if len(new.strings) >= 3 and new.strings[0] not in old.strings:
            price += (new.fingers[0] in old.fingers) * PRICES["late_bottom"]
    alone = len(old.strings) == len(new.strings) == 1
    width = max(strings) - min(strings)
    quick = age <= PLAYER.afresh_seconds if alone else age < PLAYER.placing_lead_seconds - 1e-6
    if quick or (alone and old.fingers != new.fingers and width <= 7):
        before, after, steps = 0, 0, 0
        if new.strings[0] > old.strings[-1]:
            before, after, steps = old.fingers[-1], new.fingers[0], new.strings[0] - old.strings[-1]
        elif new.strings[-1] < old.strings[0]:
            before, after, steps = old.fingers[0], new.fingers[-1], new.strings[-1] - old.strings[0]
        if alone or before != after:  # chords: one finger twice has its price already
            price += -(-turn(before, after, steps) // (1 if quick else 3))
    elif alone and old.fingers == new.fingers and 0 < width <= 7:
        price += PRICES["apart"]
    below = new.strings[-1] < old.strings[0]
    if below and len(new.strings) == 1 and (not alone or width > PLAYER.span_steps):
        price += PRICES["under"] * (new.fingers != (4,))
    placed = set(new.strings) - set(old.strings)
    if len(placed) >= 3 and age < PLAYER.collision_seconds - 1e-6:
        anchored = (new.strings[0] in placed and new.fingers[0] not in old.fingers
                    and width <= PLAYER.span_steps)
        price += (len(placed) - anchored) * PRICES["replace"]
    return int(price) + swung(old, age, new)


def swung(old: Grip, age: float, new: Grip) -> int:
    """Wire strings into which those plucked loudly just before may still swing."""
    far = {s + d for s in old.strings if old.loud and s <= WIRE_TOP for d in (-1, 1)}
    near = {s for s in new.strings if s <= WIRE_TOP}
    return PRICES["swing"] * len(far & near) * (age < PLAYER.collision_seconds - 1e-6)


def again(age: float, wire: bool) -> int:
    """A string plucked again; on wire all takes twice the time."""
    factor = PLAYER.wire_restrike_factor if wire else 1
    limits = [(PLAYER.restrike_error_seconds, IMPOSSIBLE),
              (PLAYER.restrike_error_seconds * factor, PRICES["restrike_wire"]),
              (PLAYER.restrike_warning_seconds * factor, PRICES["restrike"]),
              (PLAYER.restrike_free_seconds * factor, PRICES["restrike_easy"])]
    return next((p for limit, p in limits if age < limit - 1e-6), 0)


def turn(before: int, after: int, way: int) -> int:
    """From one finger to the next by so many strings, up or down."""
    if way == 0:
        return 0
    up, far = way > 0, min(abs(way), 6)
    if abs(way) > PLAYER.span_steps:
        return PRICES["turn"] + PRICES["turn_string"] * far
    nearer = before - after if up else after - before  # fingers towards the thumb, as the line goes
    if nearer > 0:
        least, most = {1: (1, 3), 2: (2, 5), 3: (3, 9)}[nearer]
        spans = (PLAYER.finger_pair_1_2_steps, PLAYER.finger_pair_2_3_steps,
                 PLAYER.finger_pair_3_4_steps)
        stretched = abs(way) - sum(spans[min(before, after) - 1:max(before, after) - 1])
        return (PRICES["shape"] * min(max(least - abs(way), abs(way) - most, 0), 6)
                + PRICES["stretch"] * min(max(stretched, 0), 6))
    if (before == 1 and after >= 3) if up else (before >= 3 and after == 1):
        return PRICES["turn"] + PRICES["turn_string"] * far
    return PRICES["cross_fingers"]


def across(old: Grip, age: float, new: Grip) -> int:
    """Strings, and their neighbours, that the other hand takes just after this one."""
    each = again(age, False)
    if PLAYER.restrike_error_seconds - 1e-6 <= age < PLAYER.collision_seconds - 1e-6:
        each = PRICES["collision"]
    price = sum(max(each, again(age, True)) if s <= WIRE_TOP else each
                for s in set(old.strings) & set(new.strings))
    if age < PLAYER.placing_lead_seconds - 1e-6:
        beside = {s + d for s in old.strings for d in (-1, 1)}
        price += PRICES["near_after"] * len(beside & set(new.strings))
    return (price + swung(old, age, new)) * weight(new) // 100


@given(st.lists(grips(), min_size=1, max_size=4), st.lists(grips(), min_size=1, max_size=4),
       st.data())
@settings(max_examples=200, deadline=None)
def test_tables_are_the_rules_pair_by_pair(olds, news, data):
    costs = GripCosts(PLAYER, PRICES, wire_top=WIRE_TOP)
    ages = [data.draw(st.sampled_from(AGES)) for _ in olds]
    old = np.array([FREE, *map(costs.number, olds)])
    new = np.array([costs.number(g) for g in news])
    age = np.array([0.0, *ages])
    for rule, asked in ((own, costs.own), (across, costs.across)):
        assert asked(0, old, age, new).tolist() == [[0] * len(news)] + [
            [rule(g, a, h) for h in news] for g, a in zip(olds, ages, strict=True)]


def test_where_nothing_can_be_kept_loops_are_compiled_all_the_same(monkeypatch):
    def nowhere(self):
        raise RuntimeError("no locator available")
    monkeypatch.setattr("numba.core.dispatcher.Dispatcher.enable_caching", nowhere)
    assert compiled(lambda x: x + 1)(2) == 3
    assert isinstance(kept(), bool)
