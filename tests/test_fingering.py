"""Fingers as they are read: exact for one hand, equal figures alike, groups on beats, graces."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from arranger.api import Request, convert
from arranger.model.pins import Pin, Pins
from arranger.passes.fingers import finger_as_read
from arranger.passes.pipeline import arrange
from arranger.plan.fingering import Pluck, Stand, goes_on
from arranger.plan.grip_costs import GripCosts
from arranger.plan.grips import Grip, finger_sets, grip_price
from arranger.plan.trills import trill_fingers
from tests.handwritten import attributes, backup, low, note, part, piano, score, score_of
from tests.test_scenes import PLAYER, PRICES, SETTINGS, drafted
from tests.test_scenes_of_fingers import BUSY, fingers, line, of_hand


def pluck(strings: tuple[int, ...], seconds: float, off: int = 0) -> Pluck:
    return Pluck(strings, seconds, off, False, finger_sets(len(strings), 4))


def price(plucks: list[Pluck], held: tuple[tuple[int, ...], ...]) -> int:
    """What the plan would pay, and groups off the beat."""
    costs = GripCosts(PLAYER, PRICES)
    grips = [Grip(p.strings, f) for p, f in zip(plucks, held, strict=True)]
    total, way = sum(grip_price(g, PLAYER, PRICES) for g in grips), 0
    for (old, before), (new, after) in pairwise(zip(plucks, grips, strict=True)):
        ids = [np.array([costs.number(g)]) for g in (before, after)]
        age = new.seconds - old.seconds
        total += int(costs.own(0, ids[0], np.array([age]), ids[1])[0, 0]) * (age <= 2)
        ahead = goes_on(before, after, PLAYER)
        way = ahead if ahead and way in (0, ahead) else 0
        total += PRICES["off_beat"] * new.off * (way == 0)
    return total


@given(st.lists(st.tuples(st.sets(st.integers(20, 30), min_size=1, max_size=2),
                          st.sampled_from([0.1, 0.25, 0.7, 3.0]), st.integers(0, 2)),
                min_size=1, max_size=5))
@settings(max_examples=40, deadline=None)
def test_no_fingers_of_one_hand_are_cheaper(drawn):
    """Against every way to finger up to five grips."""
    plucks, now = [], 0.0
    for strings, gap, off in drawn:
        now += gap
        plucks.append(pluck(tuple(sorted(strings)), now, off))
    found = Stand({"R": plucks, "L": []}, PLAYER, PRICES).fingers()["R"]
    assert price(plucks, found) == min(
        price(plucks, held) for held in product(*(p.choice for p in plucks)))


@pytest.mark.parametrize(("before", "after", "way"), [
    (((20,), (3,)), ((22,), (2,)), 1), (((20,), (2,)), ((22,), (3,)), 0),
    (((22,), (1,)), ((21,), (1,)), -1), (((22,), (1,)), ((20,), (1,)), 0),
    (((22,), (2,)), ((21,), (2,)), 0), (((20, 22), (4, 3)), ((24, 25), (2, 1)), 1),
    (((20,), (4,)), ((28,), (3,)), 0), (((20,), (4,)), ((20,), (4,)), 0),
    (((24,), (1,)), ((20, 22), (4, 3)), -1)])
def test_a_group_goes_on_with_fingers_in_order_within_their_span(before, after, way):
    assert goes_on(Grip(*before), Grip(*after), PLAYER) == way


def test_groups_begin_on_beats_where_that_costs_no_more():
    """Two triplets up a scale: three fingers and three, not two and four (common practice)."""
    def held(*off: int) -> list[int]:
        plucks = [pluck((s,), 0.33 * at, o) for at, (s, o) in enumerate(zip(
            (20, 21, 22, 24, 26, 28), off, strict=True))]
        return [f for f, in Stand({"R": plucks, "L": []}, PLAYER, PRICES).fingers()["R"]]

    assert held(0, 0, 0, 0, 0, 0) == [2, 1, 4, 3, 2, 1]
    assert held(0, 2, 2, 0, 2, 2) == [3, 2, 1, 3, 2, 1]


def test_equal_figures_in_one_hand_have_equal_fingers():
    """METRICS C1 for fingers: at the price of ``unlike`` a grip, no more."""
    names = " ".join(["E4 G4 F4 B4 F4 A4 G4 C5"] * 2)
    bar = "".join(note(n, 1) for n in names.split())

    def figures(unlike: int) -> list[tuple[int | None, ...]]:
        dear = replace(SETTINGS, prices={**PRICES, "unlike": unlike})
        held = fingers(drafted(bar, line("C2 G2 C3 G2", 4, low), 100, settings=dear))
        return [tuple(held[at:at + 4]) for at in (0, 4, 8, 12)]

    assert figures(0) == [(2, 1, 2, 1), (2, 1, 2, 1), (3, 1, 2, 1), (2, 1, 2, 1)]
    assert figures(PRICES["unlike"]) == [(2, 1, 2, 1)] * 4


def test_grace_notes_have_fingers_that_lead_to_their_note():
    graces = note("A5", grace=True) + note("B5", grace=True)
    draft = drafted(graces + note("C6", 4) + note("r", 12), low("C3", 16), 60)
    of = {n.pitch.name: n.finger for n in draft.notes}
    assert (of["A5"], of["B5"], of["C6"]) == (3, 2, 1)


@pytest.mark.parametrize("first", [(), ("E5",)])
def test_graces_of_two_players_are_struck_together(tmp_path, first):
    """The last with the last, as they are written on one stem; so a draft comes back unchanged."""
    of = graces(tmp_path, (*first, "C5"), ("A4",))
    assert [of[n, True] for n in ("A4", "C5")] == [4, 3]
    assert [of[n, False] for n in ("B4", "D5")] == [2, 1]
    assert ("C5", True) in graces(tmp_path, (*first, "C5"), ("C5",))


def graces(tmp_path, above, below):
    """Fingers of the right hand, by string and whether it is a grace, of a draft that stays."""
    lines = (*("".join(note(n, grace=True) for n in before) + note(name, 4) + note("r", 12)
               for before, name in ((above, "D5"), (below, "B4"))), note("G2", 4) + note("r", 12))
    path = tmp_path / "three.musicxml"
    path.write_bytes(etree.tostring(score(
        *(part(attributes(1) + bar, ident=f"P{at}") for at, bar in enumerate(lines, 1)),
        names=("One", "Two", "Three"))))
    made = convert(Request(path, ("all",), page=False, verify=True)).report["notes"]
    right = [n for n in made if n["hand"] == "R"]
    assert sum(n["grace"] for n in right) == len({*above, *below})
    return {(n["string"], n["grace"]): n["finger"] for n in right}


def test_a_finger_that_was_asked_for_stays():
    score, part = score_of(piano(line("C5 D5 E5 F5") + backup(16) + low("C3", 16)), 100)
    plain = arrange(score, part, SETTINGS).draft
    third = of_hand(plain, "R")[2]
    other = next(f for f in (1, 2, 3, 4) if f != third.finger)
    asked = replace(SETTINGS, pins=Pins(notes={third.id: Pin(finger=other)}))
    draft = arrange(score, part, asked).draft
    assert next(n.finger for n in draft.notes if n.id == third.id) == other


def test_fingers_read_again_are_the_same():
    draft = drafted(line("C5 D5 E5 F5 G5 A5 B5 C6"), BUSY, 100)
    assert finger_as_read(draft, SETTINGS) == draft


@pytest.mark.parametrize(("gap", "wanted"), [
    (0.12, []), (0.08, [2, 1, 3, 1, 2, 1, 3, 1]), (0.06, [4, 3, 2, 1, 4, 3, 2, 1])])
@pytest.mark.parametrize("upper", [41, 42])
def test_a_quick_trill_of_one_hand_takes_more_fingers_in_turn(gap: float, upper: int,
                                                              wanted: list[int]):
    """C. Swanson: 2121 is the commonest; 213121 and 43214321 the others."""
    strings = [(40,), (upper,)] * 4
    found = trill_fingers(strings, [gap * at for at in range(8)], PLAYER)
    assert [found[at] for at in sorted(found)] == wanted


def test_what_is_no_trill_keeps_its_fingers():
    for strings in ([(40,), (41,)] * 2, [(40,), (44,)] * 4, [(40, 42), (41,)] * 4,
                    [(40,), (41,), (42,)] * 3):
        assert trill_fingers(strings, [0.06 * at for at in range(len(strings))], PLAYER) == {}


@pytest.mark.parametrize(("bpm", "wanted"), [
    (110, [2, 1, 2, 1]), (185, [2, 1, 3, 1]), (230, [4, 3, 2, 1])])
def test_a_trill_in_the_right_hand_is_fingered_by_its_speed(bpm: int, wanted: list[int]):
    draft = drafted(line(" ".join(["B5 C6"] * 8)), line("C2 C3 C2 C3", 4, low), bpm)
    assert len(of_hand(draft, "R")) == 16
    assert fingers(draft) == wanted * 4
