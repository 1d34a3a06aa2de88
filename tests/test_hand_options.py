"""Sharing between the hands: within the player's limits, and the cheapest there is."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.model.draft import HarpNote
from arranger.model.pitch import Pitch
from arranger.model.score import Note
from arranger.plan.hand_options import Hand, Option, Tone, options, reach
from arranger.plan.roles import roles
from arranger.rulebook.players import load_player
from arranger.rulebook.prices import load_prices
from tests.strategies import tones_

PLAYERS = tuple(load_player(p) for p in ("average", "small-hand", "large-hand", "student"))
PLAYER = PLAYERS[0]
PRICES = load_prices()
STRINGS = frozenset(range(9, 53))


def tone(name: str, hand: str = "R", drop: int = 130, *, fixed: bool = False, roll: bool = False,
         rolled: bool = False) -> Tone:
    return Tone(Pitch.parse(name), hand, drop, fixed, roll, rolled, 0)


def grips(option: Option) -> list[tuple[str, list[int], bool]]:
    return [(which, [p.position for _, p in hand.tones], hand.rolled)
            for which, hand in (("L", option.left), ("R", option.right)) if hand.tones]


@given(tones_(), st.sampled_from(PLAYERS))
@settings(max_examples=150, deadline=None)
def test_options_stay_within_the_limits_of_the_player(tones, player):
    found = options(tones, player, PRICES, STRINGS, 16)
    assert found
    for option in found:
        struck = [p for _, places, _ in grips(option) for p in places]
        assert len(struck) == len(set(struck))
        named = [i for hand in (option.left, option.right) for i, _ in hand.tones]
        assert len(named) == len(set(named))
        for which, places, rolled in grips(option):
            assert len(places) <= player.fingers_per_hand
            assert all(a < b for a, b in pairwise(places))
            assert places[-1] - places[0] <= (player.rolled_span_steps if rolled
                                              else player.span_steps)
            low, high = reach(which, player)
            assert low.position <= places[0]
            assert places[-1] <= high.position


@given(tones_(), st.sampled_from(PLAYERS))
@settings(max_examples=150, deadline=None)
def test_notes_are_given_up_only_where_no_split_holds_them_all(tones, player):
    found = options(tones, player, PRICES, STRINGS, 16)
    held = [{(i, p) for hand in (o.left, o.right) for i, p in hand.tones} for o in found]
    everything = {(i, t.pitch) for i, t in enumerate(tones)}
    whole = any(fits(tones[:cut], "L", player) and fits(tones[cut:], "R", player)
                for cut in range(len(tones) + 1))
    if whole:
        assert all(h == everything for h in held)
    for option, kept in zip(found, held, strict=True):
        lost = sum(t.drop for i, t in enumerate(tones) if i not in {k for k, _ in kept})
        assert option.price >= lost
        for i, pitch in kept:
            assert pitch == tones[i].pitch or (
                not tones[i].fixed and pitch.pitch_class == tones[i].pitch.pitch_class
                and tones[0].pitch.position < pitch.position < tones[-1].pitch.position)


def fits(tones, which, player):  # type: ignore[no-untyped-def]
    places = [t.pitch.position for t in tones]
    if not places:
        return True
    low, high = reach(which, player)
    span = player.rolled_span_steps if any(t.rolled for t in tones) else player.span_steps
    return (len(places) <= player.fingers_per_hand and places[-1] - places[0] <= span
            and low.position <= places[0] and places[-1] <= high.position)


def test_too_many_strings_lose_the_cheapest_note():
    low = [tone(n, drop=900, fixed=True) for n in ("G2", "E3", "A3", "B3")]
    high = [tone(n, drop=900, fixed=True) for n in ("C7", "D7", "E7", "F7")]
    chord = [low[0], tone("C3", drop=60), *low[1:], *high]
    best = min(options(chord, PLAYER, PRICES, STRINGS, 16), key=lambda o: o.price)
    assert [i for i, _ in best.left.tones] == [0, 2, 3, 4]
    assert [i for i, _ in best.right.tones] == [5, 6, 7, 8]


@pytest.mark.parametrize(("top", "kept", "rolled"), [
    ("E3", 3, False), ("F3", 3, True), ("G3", 3, True), ("A3", 2, False)])
def test_a_chord_wider_than_the_hand_is_rolled_and_at_last_thinned(top, kept, rolled):
    """A tenth is held, eleven and twelve strings are rolled; the right hand is elsewhere."""
    chord = [tone(n, "L", 900, fixed=True, roll=True) for n in ("C2", "G2", top)]
    chord.append(tone("F7", "R", 5000, fixed=True))
    best = min(options(chord, PLAYER, PRICES, STRINGS, 16), key=lambda o: o.price)
    assert (len(best.left.tones), best.left.rolled) == (kept, rolled)
    assert len(best.right.tones) == 1


def test_two_notes_moved_towards_each_other_do_not_meet_on_one_string():
    """B4 up and B6 down an octave would be B5 twice, which no limit of a hand forbids."""
    chord = [tone("G2", drop=40, fixed=True), tone("B4", drop=900), tone("B6", drop=900)]
    for option in options(chord, PLAYER, PRICES, STRINGS, 16):
        struck = [p for _, places, _ in grips(option) for p in places]
        assert len(struck) == len(set(struck))


def test_an_octave_keeps_between_bass_and_tune_as_long_as_the_note_sounds():
    """G4 held under C6 may not go to G5 where the tune comes below that meanwhile."""
    def note(name, onset, length, voice):
        pitch = Pitch.parse(name)
        source = Note(f"{name}@{onset}", "P1", 0, Fraction(onset), Fraction(length), pitch, 1,
                      str(voice))
        return HarpNote(source, pitch)

    held = note("G4", 0, 4, 2)
    notes = [note("C2", 0, 4, 3), held, note("C6", 0, 1, 1), note("E5", 1, 3, 1)]
    role = roles(notes)[held.id]
    assert (role.floor, role.ceiling) == (36, 76)
    chord = [tone("G2", drop=40, fixed=True), tone("B4", drop=900), tone("B6", fixed=True)]
    moved = {p.name for o in options(chord, PLAYER, PRICES, STRINGS, 16)
             for hand in (o.left, o.right) for i, p in hand.tones if i == 1}
    assert moved == {"B3", "B4", "B5"}
    chord[1] = replace(chord[1], shifts=(-1,))
    moved = {p.name for o in options(chord, PLAYER, PRICES, STRINGS, 16)
             for hand in (o.left, o.right) for i, p in hand.tones if i == 1}
    assert moved <= {"B3", "B4"}


def test_no_tones_no_hands():
    assert options([], PLAYER, PRICES, STRINGS, 16) == (Option(Hand(), Hand(), 0),)
