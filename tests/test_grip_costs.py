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
AGES = sorted({t + d for t in (
    PLAYER.restrike_error_seconds, PLAYER.restrike_warning_seconds, PLAYER.restrike_free_seconds,
    PLAYER.same_finger_seconds, PLAYER.placing_lead_seconds, PLAYER.afresh_seconds,
    PLAYER.collision_seconds, 2.0) for d in (-0.01, 0.0, 0.01)} - {-0.01, 0.0})


@st.composite
def grips(draw: st.DrawFn) -> Grip:
    strings = sorted(draw(st.sets(st.integers(5, 30), min_size=1, max_size=4)))
    fingers = sorted(draw(st.sets(st.integers(1, 4), min_size=len(strings),
                                  max_size=len(strings))), reverse=True)
    return Grip(tuple(strings), tuple(fingers), exposed=draw(st.booleans()))


def weight(new: Grip) -> int:
    return 100 + PRICES["exposure"] * new.exposed


def own(old: Grip, age: float, new: Grip) -> int:
    """Travel beyond the span, turning, and what one finger or string does twice."""
    reach = PLAYER.span_steps + PLAYER.travel_steps_per_second * age
    strings = old.strings + new.strings
    price = PRICES["travel"] * max(0.0, max(strings) - min(strings) - reach)
    same_strings = len(set(old.strings) & set(new.strings))
    same_fingers = len(set(old.fingers) & set(new.fingers))
    again = next((p for limit, p in (
        (PLAYER.restrike_error_seconds, IMPOSSIBLE),
        (PLAYER.restrike_warning_seconds, PRICES["restrike"]),
        (PLAYER.restrike_free_seconds, PRICES["restrike_easy"])) if age < limit - 1e-6), 0)
    price += same_strings * again * weight(new) // 100
    if age < PLAYER.same_finger_seconds - 1e-6:
        price += same_fingers * PRICES["hop"]
    if age < PLAYER.placing_lead_seconds - 1e-6:
        price += max(0, same_fingers - same_strings) * PRICES["hop_quick"]
        if len(new.strings) >= 3 and new.strings[0] not in old.strings:
            price += (new.fingers[0] in old.fingers) * PRICES["late_bottom"]
    if len(old.strings) == len(new.strings) == 1 and age <= PLAYER.afresh_seconds:
        price += turn(old.fingers[0], new.fingers[0], new.strings[0] - old.strings[0])
    return int(price)


def turn(before: int, after: int, way: int) -> int:
    """From one finger to the next by so many strings, up or down."""
    if way == 0:
        return 0
    up, far = way > 0, min(abs(way), 6)
    nearer = before - after if up else after - before  # fingers towards the thumb, as the line goes
    if nearer > 0:
        least, most = {1: (1, 3), 2: (3, 5), 3: (5, 9)}[nearer]
        return PRICES["shape"] * min(max(least - abs(way), abs(way) - most, 0), 6)
    if (before == 1 and after >= 3) if up else (before >= 3 and after == 1):
        return PRICES["turn"] + PRICES["turn_string"] * far
    return PRICES["cross_fingers"]


def across(old: Grip, age: float, new: Grip) -> int:
    """Strings, and their neighbours, that the other hand takes just after this one."""
    if age >= PLAYER.collision_seconds:
        return 0
    each = IMPOSSIBLE if age < PLAYER.restrike_error_seconds - 1e-6 else (
        PRICES["collision"] if age < PLAYER.collision_seconds - 1e-6 else 0)
    price = each * len(set(old.strings) & set(new.strings))
    if age < PLAYER.placing_lead_seconds - 1e-6:
        beside = {s + d for s in old.strings for d in (-1, 1)}
        price += PRICES["near_after"] * len(beside & set(new.strings))
    return price * weight(new) // 100


@given(st.lists(grips(), min_size=1, max_size=4), st.lists(grips(), min_size=1, max_size=4),
       st.data())
@settings(max_examples=200, deadline=None)
def test_tables_are_the_rules_pair_by_pair(olds, news, data):
    costs = GripCosts(PLAYER, PRICES)
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
