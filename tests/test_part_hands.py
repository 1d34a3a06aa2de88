"""A hand rule is broken only where no sharing of the strings keeps it."""

from __future__ import annotations

from fractions import Fraction
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.model.harp import HarpString
from arranger.model.pitch import Pitch
from arranger.model.score import Note
from arranger.plan.hand_options import reach
from arranger.plan.part_hands import Attack, fault, grips
from arranger.plan.recall import Recall
from arranger.rulebook.players import load_player
from arranger.rulebook.prices import load_prices

PLAYER = load_player("average")
PLACES = st.sets(st.integers(7, 7 * 7 + 4), min_size=1, max_size=8)


def notes(places: list[int], rolled: bool = False, marks: frozenset[str] = frozenset(),
          staff: int = 1) -> list[Note]:
    signs = marks | (frozenset({"arpeggiate"}) if rolled else frozenset())
    return [Note(f"n{p}", "P1", 0, Fraction(0), Fraction(1), HarpString(p).pitch(0), staff,
                 marks=signs) for p in sorted(places)]


def named(names: str, **more: object) -> list[Note]:
    return notes([Pitch.parse(n).position for n in names.split()], **more)  # type: ignore[arg-type]


def some_sharing_fits(places: list[int], rolled: bool) -> bool:
    """Every way to give each string to a hand, crossed hands too."""
    span = PLAYER.rolled_span_steps if rolled else PLAYER.span_steps
    for hands in product("LR", repeat=len(places)):
        fits = True
        for hand in "LR":
            mine = [p for p, h in zip(places, hands, strict=True) if h == hand]
            low, high = reach(hand, PLAYER)
            fits &= not mine or (len(mine) <= 4 and mine[-1] - mine[0] <= span
                                 and low.position <= mine[0] and mine[-1] <= high.position)
        if fits:
            return True
    return False


@given(PLACES, st.booleans())
def test_a_fault_is_told_only_where_no_sharing_fits(places: set[int], rolled: bool) -> None:
    ordered = sorted(places)
    assert (fault(notes(ordered, rolled), PLAYER) == "") == some_sharing_fits(ordered, rolled)


@given(PLACES, st.booleans())
@settings(deadline=None)
def test_the_planner_and_the_fault_agree(places: set[int], rolled: bool) -> None:
    struck = notes(sorted(places), rolled)
    (grip,) = grips([Attack(Fraction(0), 0.0, tuple(struck))], PLAYER, load_prices())
    assert bool(grip.fault) == bool(fault(struck, PLAYER))
    if not grip.fault:
        assert sorted(n.id for n in (*grip.left, *grip.right)) == sorted(n.id for n in struck)


@pytest.mark.parametrize(("names", "code"), [
    ("C2 E2 G2 C3 E3 G3 C4 E4 G4", "H1"), ("F2 D4 B5", "H2"), ("E1 G1 B1 C2 E2", "H3"),
    ("C1 G7", ""), ("C3 E3 G3 C4 E4 G4 C5 E5", ""), ("C2 G2 E3 C4 G4 E5", "")])
def test_names_of_faults(names: str, code: str) -> None:
    assert fault(named(names), PLAYER) == code


def test_the_staff_only_breaks_ties() -> None:
    on_one_staff = named("C2 G2 E3 C4 G4 E5", staff=1)
    (grip,) = grips([Attack(Fraction(0), 0.0, tuple(on_one_staff))], PLAYER, load_prices())
    assert not grip.fault
    assert [n.pitch.name for n in grip.left] == ["C2", "G2", "E3"]


@pytest.mark.parametrize(("marks", "helps"), [(frozenset(), True),
                                              (frozenset({"staccato"}), False)])
def test_a_roll_may_help_but_not_a_short_chord(marks: frozenset[str], helps: bool) -> None:
    struck = named("B2 A3 E4 G4 C5 E5 G5", marks=marks)
    (grip,) = grips([Attack(Fraction(0), 0.0, tuple(struck))], PLAYER, load_prices())
    assert grip.fault
    assert grip.if_rolled is helps


def test_one_string_wanted_twice_counts_once() -> None:
    struck = [*named("C4 E4 G4 B4"), *named("C4 E4 G4 B4")]
    assert fault(struck, PLAYER) == ""


def test_fingers_fall_from_the_lowest_string_to_the_thumb() -> None:
    (grip,) = grips([Attack(Fraction(0), 0.0, tuple(named("C2 G2 C3 E3 G3 C4 E4")))], PLAYER,
                    load_prices())
    for held in (grip.left, grip.right):
        fingers = [grip.fingers[n.id] for n in held]
        assert fingers == sorted(set(fingers), reverse=True)
        assert fingers[-1] == 1
    assert set(grip.fingers) == {n.id for n in (*grip.left, *grip.right)}


def test_written_fingers_are_kept_and_the_others_found_around_them() -> None:
    struck = named("C4 E4 G4")
    bottom = struck[0].id
    attack = [Attack(Fraction(0), 0.0, tuple(struck))]
    (free,) = grips(attack, PLAYER, load_prices())
    (bound,) = grips(attack, PLAYER, load_prices(), {bottom: 4})
    assert (free.fingers[bottom], bound.fingers[bottom]) == (3, 4)
    assert len(bound.fingers) == 3


@given(st.lists(PLACES, min_size=2, max_size=4))
@settings(max_examples=20, deadline=None)
def test_a_part_is_shared_alike_whatever_is_recalled(rows: list[set[int]]) -> None:
    attacks = [Attack(Fraction(t), t / 4, tuple(notes(sorted(places))))
               for t, places in enumerate(rows)]
    recall = Recall()
    fresh = grips(attacks, PLAYER, load_prices())
    assert grips(attacks[1:], PLAYER, load_prices(), recall=recall)
    assert grips(attacks, PLAYER, load_prices(), recall=recall) == fresh
