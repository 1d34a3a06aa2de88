"""Where a hand can damp a ringing string, and what a pedal that moves on one then pays."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.model.draft import Damp, HarpNote
from arranger.model.pitch import SEMITONES, STEPS, Pitch
from arranger.model.score import Note
from arranger.plan.ring import AUDIBLE, T60
from arranger.plan.slices import Slice
from arranger.plan.touch import Hands, Moment, Ring, Touch, hushed, with_hands
from arranger.rulebook.players import load_player
from arranger.rulebook.prices import load_prices
from tests.strategies import empty_score

PLAYER = load_player("average")
PRICES = load_prices()
LEAD = PLAYER.placing_lead_seconds
#: Eighths of a second, hand, string: what two hands pluck.
STROKES = st.lists(st.tuples(st.integers(0, 24), st.sampled_from("LR"), st.integers(14, 42)),
                   max_size=12)


def pitch(place: int) -> Pitch:
    return Pitch(STEPS[place % 7], 0, place // 7)


def plucked(place: int, onset: Fraction, hand: str, *marks: str) -> HarpNote:
    note = Note(f"{onset} {place} {hand}", "P1", 0, onset, Fraction(1, 8), pitch(place),
                marks=frozenset(marks))
    return HarpNote(note, pitch(place), hand)


def played(strokes: list[tuple[int, str, int]]) -> list[Slice]:
    """One quarter note is a second."""
    return [Slice(Fraction(at, 8), at / 8, tuple(
        plucked(place, Fraction(at, 8), hand)
        for place, hand in sorted({(p, h) for when, h, p in strokes if when == at})))
        for at in sorted({at for at, _, _ in strokes})]


def free(hand: str, place: int, at: float, strokes: list[tuple[int, str, int]]) -> bool:
    """Tell by the words of the rule whether a hand may lay a finger on a string."""
    mine: dict[float, list[int]] = {}
    for when, other, there in strokes:
        if other == hand:
            mine.setdefault(when / 8, []).append(there)
        elif abs(when / 8 - at) < LEAD - 1e-9 and (
                there <= place if hand == "L" else there >= place):
            return False  # the hands would cross
    low, high = ((PLAYER.left_hand_lowest, PLAYER.left_hand_highest) if hand == "L" else
                 (PLAYER.right_hand_lowest, PLAYER.right_hand_highest))
    if not low.position <= place <= high.position or not mine:
        return False

    def way(places: list[int]) -> float:
        wide = max(max(places) - place, place - min(places), 0) - PLAYER.comfortable_span_steps
        return LEAD + max(0, wide) / PLAYER.travel_steps_per_second
    last = max((t for t in mine if t < at), default=None)
    soon = min((t for t in mine if t >= at), default=None)
    return (last is None or at - last >= way(mine[last]) - 1e-9) and (
        soon is None or (place in mine[soon] or soon - at >= way(mine[soon]) - 1e-9))


@given(STROKES, st.integers(14, 42))
@settings(max_examples=150, deadline=None)
def test_a_hand_is_free_where_it_has_time_from_its_last_stroke_and_to_its_next(
        strokes: list[tuple[int, str, int]], place: int) -> None:
    touches = Hands(played(strokes), PLAYER).touches(place, 0.0, 3.2)
    for step in range(1, 64):
        at = step / 20 + 0.0037  # beside all borders
        for hand in "LR":
            told = any(t.hand == hand and t.start <= at <= t.stop for t in touches)
            assert told == free(hand, place, at, strokes), (hand, at)


@given(STROKES, st.integers(14, 42), st.integers(0, 24))
@settings(max_examples=100, deadline=None)
def test_a_finger_lies_on_its_string_before_it_plucks_again(
        strokes: list[tuple[int, str, int]], place: int, after: int) -> None:
    """Two leads before at the earliest, a lead after the hand's last stroke, a lead before."""
    told = Hands(played(strokes), PLAYER).silent(place, after / 8)
    again = [(at / 8, hand) for at, hand, there in strokes if there == place and at > after]
    if not again:
        assert told == math.inf
        return
    pluck = min(at for at, _ in again)
    expected = []
    for hand in {h for at, h in again if at == pluck}:
        last = max((at / 8 for at, h, _ in strokes if h == hand and at / 8 < pluck),
                   default=-math.inf)
        expected.append(next((t for t in (pluck - 2 * LEAD, last + LEAD)
                              if pluck - 2 * LEAD <= t <= pluck - LEAD and t >= last + LEAD),
                             pluck - LEAD))
    assert min(abs(told - e) for e in expected) < 1e-9


RINGS = st.lists(st.builds(
    lambda place, until, starts: Ring(
        place, 12 * (place // 7 + 1) + SEMITONES[STEPS[place % 7]], Fraction(0), Fraction(until, 4),
        touches=tuple(Touch(hand, start / 8, (start + length) / 8, Moment(
            Fraction(start + length, 8), (start + length) / 8))
            for hand, start, length in starts)),
    st.integers(14, 35), st.integers(0, 6),
    st.lists(st.tuples(st.sampled_from("LR"), st.integers(0, 8), st.integers(0, 4)), max_size=3)),
    max_size=4, unique_by=lambda r: r.place)


@given(RINGS, st.integers(1, 16))
@settings(max_examples=150, deadline=None)
def test_a_pedal_pays_for_the_loudest_string_that_no_hand_damps(rings: list[Ring],
                                                                 at: int) -> None:
    """As cheap as any one touch of any hand; strings further apart than it spans are too many."""
    moment = Moment(Fraction(at, 8), at / 8)

    def price(silent: tuple[Ring, ...]) -> int:
        return round(max((
            (PRICES["ring"] + PRICES["held"] * (moment.onset < r.until))
            * max(0.0, 10 ** (-3 * moment.seconds / float(T60[r.midi])) - AUDIBLE)
            for r in rings if r not in silent), default=0.0))
    found = hushed(rings, moment, PRICES, PLAYER)
    best = price(())
    moments = {moment.seconds, *(t.stop for r in rings for t in r.touches)}
    for hand in "LR":
        for when in (m for m in moments if m <= moment.seconds):
            may = [r for r in rings if any(t.hand == hand and t.start <= when <= t.stop
                                           for t in r.touches)]
            for count in range(1, len(may) + 1):
                for some in combinations(may, count):
                    places = [r.place for r in some]
                    if max(places) - min(places) <= PLAYER.span_steps:
                        best = min(best, price(some) + PRICES["damp"])
    assert found.price == best
    if found.hand:
        assert found.moment.seconds <= moment.seconds
        assert price(found.rings) + PRICES["damp"] == found.price
        assert all(r.touched(found.hand, found.moment.seconds) for r in found.rings)


def test_a_string_is_damped_where_it_is_read_best_after_its_written_end() -> None:
    """C3 is written as a quarter; both hands rest: the last beat before the note is plucked."""
    ring = Ring(21, 48, Fraction(0), Fraction(1))
    score = empty_score(bpm=60)
    hands = Hands(played([(0, "L", 21), (32, "L", 23)]), PLAYER)
    (found,) = with_hands([ring], Fraction(0), Fraction(4), score.tempo, hands)
    assert [(t.hand, t.start, t.best and t.best.onset) for t in found.touches] == [("L", 1, 3)]
    assert with_hands([ring], Fraction(0), Fraction(4), score.tempo, None)[0].touches == ()
    lasting = Slice(Fraction(0), 0.0, (plucked(21, Fraction(0), "L", "let-ring"),))
    free = Hands([lasting, *played([(32, "L", 23)])], PLAYER)
    assert with_hands([ring], Fraction(0), Fraction(4), score.tempo, free)[0].touches == ()


def damp(place: int, seconds: float) -> Damp:
    return Damp(Fraction(seconds), seconds, "L", (plucked(place, Fraction(0), "L"),), "P2")


def test_one_hand_damps_at_two_places_with_time_between() -> None:
    hands = Hands([], PLAYER)
    assert hands.both(damp(21, 1.0), [25], 1.0)
    assert not hands.both(damp(21, 1.0), [40], 1.0)
    assert not hands.both(damp(21, 1.0), [22], 1.1)
    assert hands.both(damp(21, 1.0), [22], 1.25)
    assert not hands.both(damp(21, 1.0), [49], 1.25)


def test_what_is_damped_for_the_harmony_is_silent_for_the_pedal_too() -> None:
    hands = Hands(played([(0, "L", 14)]), PLAYER, [damp(14, 1.0)])
    assert hands.silent(14, 0.0) == 1.0


