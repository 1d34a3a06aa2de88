"""More small scenes: what the joint plan makes of repeated notes, arpeggios, unisons and reach.

As in ``test_scenes``: the answer a harpist would give, found unasked; where no book is named the
scene stands for common practice.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from arranger.model.harp import HarpString
from arranger.model.pitch import Pitch
from arranger.options.spots import risks
from arranger.plan.exposure import exposed
from arranger.plan.grip_costs import GripCosts
from arranger.plan.grips import Grip
from arranger.plan.hand_options import Tone, options
from arranger.plan.slices import slices
from tests.handwritten import chord, low, note
from tests.test_scenes import PLAYER, PRICES, SETTINGS, by_onset, drafted, grip, named


@pytest.mark.parametrize("name", ["D5", "G4", "A4"])
def test_a_pitch_of_one_string_is_repeated_on_that_string(name: str):
    """D, G and A natural have no twin (Sibelius Academy manual, tremolo)."""
    draft = drafted("".join(note(name, 2) for _ in range(8)), low("r", 16), 100)
    assert [n.pitch.name for n in draft.notes] == [name] * 8


def test_the_gliding_line_of_parish_alvars_needs_one_setting():
    """Berlioz 1855, ch. "La Harpe": an easy passage; its pairs are two strings at one pitch."""
    names = ("C6", "A5", "Gb5", "Gb5", "Eb5", "Eb5", "C5", "C5", "A4", "Gb4", "Gb4", "Eb4", "Eb4",
             "C4", "C4", "A3")
    draft = drafted("".join(note(n, 1) for n in names), low("r", 16), 152, fifths=-3)
    line = sorted(draft.notes, key=lambda n: n.onset)
    assert [n.pitch.midi for n in line] == [Pitch.parse(n).midi for n in names]
    assert draft.plan.moves == ()
    assert all(a.string != b.string for a, b in pairwise(line))


def test_the_same_passage_in_thirds_stays_in_that_setting():
    """Berlioz 1855, ch. "La Harpe": only C, E flat, G flat and A occur."""
    pairs = ("A5 C6", "Gb5 A5", "Eb5 Gb5", "C5 Eb5", "A4 C5", "Gb4 A4", "Eb4 Gb4", "C4 Eb4")
    draft = drafted("".join(chord(p, 2) for p in pairs), low("r", 16), 120, fifths=-3)
    assert draft.plan.moves == ()
    assert len(draft.notes) == 16


def test_octaves_in_both_hands_weigh_more_the_faster_they_are():
    """Berlioz 1855, ch. "La Harpe": impracticable fast, possible slowly. No note is lost for it;
    that such a passage is too fast is for the check to say (rule H11)."""
    tops = ("Eb3", "G3", "Bb3", "Eb4", "G4", "Bb4", "Eb5", "G5",
            "Bb5", "Eb6", "Bb5", "G5", "Eb5", "Bb4", "G4", "Eb4")
    right = "".join(note(n, 1) for n in tops)
    left = "".join(low(Pitch.parse(n).shifted(-1).name, 1) for n in tops)
    quick, slow = (drafted(right, left, bpm, fifths=-3) for bpm in (200, 24))
    assert len(quick.notes) == len(slow.notes) == 32
    assert quick.cost["hands"] > slow.cost["hands"]


def test_an_arpeggio_longer_than_four_strings_is_shared_or_turned_by_neighbours():
    """Turns that skip strings are uncomfortable; hands in turn are the usual way out."""
    names = ("C3", "E3", "G3", "C4", "E4", "G4", "C5", "E5",
             "G5", "E5", "C5", "G4", "E4", "C4", "G3", "E3")
    draft = drafted("".join(note(n, 1) for n in names), low("r", 16), 110)
    line = sorted(draft.notes, key=lambda n: n.onset)
    assert len(line) == 16
    hands: dict[str, list[int]] = defaultdict(list)
    for one, two in pairwise(line):
        if one.hand == two.hand and one.finger is not None and two.finger is not None:
            rises = two.pitch.midi > one.pitch.midi
            if rises != (two.finger < one.finger):
                hands[one.hand].append(abs(two.string.position - one.string.position))
    assert {n.hand for n in line} == {"L", "R"}
    assert sum(len(turns) for turns in hands.values()) <= 2


def test_a_unison_of_both_hands_is_plucked_once():
    """A pitch the other hand holds is left out of its chord."""
    draft = drafted(chord("Gb4 Db5", 16), chord("Gb3 Gb4", 16, voice=5, staff=2), 72, fifths=-6)
    (notes,) = by_onset(draft)
    assert named(notes)[0] == "Gb3"
    assert named(notes) == ["Gb3", "Gb4", "Db5"]


def test_the_left_hand_is_not_sent_to_the_top():
    """Neither complex nor single notes: above its reach the right hand takes them."""
    draft = drafted(note("r", 16), low("G6", 4) + low("A6", 4) + low("B6", 4) + low("C7", 4), 72)
    assert {n.hand for n in draft.notes} == {"R"}


def test_a_working_span_is_an_octave():
    """Kuntz: a seventh or octave; a tenth is the limit, and the hands share it where they can."""
    draft = drafted(note("r", 16), chord("C3 G3 C4 E4", 16, voice=5, staff=2), 60)
    (notes,) = by_onset(draft)
    held = {hand: [n.string.position for n in notes if n.hand == hand] for hand in "LR"}
    assert len(notes) == 4
    assert all(max(s) - min(s) <= PLAYER.span_steps for s in held.values() if s)


def test_the_step_beside_the_thumb_strains_a_tenth():
    """The Harp Legacy Project: the second finger next to the thumb, inside a tenth."""
    assert grip("C4 E4 G4 E5", (4, 3, 2, 1)) < grip("C4 G4 D5 E5", (4, 3, 2, 1))


def test_a_close_chord_low_down_is_dearer_than_an_open_one():
    """Harp Mastery: root, fifth, tenth sound clear where the close triad is blurred."""
    def price(names: str) -> int:
        tones = [Tone(Pitch.parse(n), "L", 900, True, False, False, 0) for n in names.split()]
        return min(o.price for o in options(tones, PLAYER, PRICES, frozenset(), 16))

    assert price("C2 E2 G2") == price("C2 G2 E3") + 2 * PRICES["close_low"]
    assert price("C4 E4 G4") == price("C4 G4 E5")


@pytest.mark.parametrize("age", [0.15, 0.25])
def test_what_goes_wrong_weighs_more_in_a_thin_texture(age: float):
    """A soloist's accompaniment is exposed: a string the other hand has just left."""
    costs = GripCosts(PLAYER, PRICES)
    old = costs.number(Grip((28,), (1,)))
    prices = {}
    for thin in (False, True):
        new = costs.number(Grip((28,), (2,), exposed=thin))
        prices[thin] = int(costs.across(0, np.array([old]), np.array([age]),
                                           np.array([new]))[0, 0])
    assert prices[True] * 100 == prices[False] * (100 + PRICES["exposure"])
    assert prices[False] > 0


def level(sign: str) -> str:
    return (f"<direction><direction-type><dynamics><{sign}/></dynamics></direction-type>"
            f"</direction>")


@pytest.mark.parametrize(("sign", "strings", "warned"), [
    ("ff", ["E2", "Gb2", "E2"], False), ("p", ["E2", "F#2", "E2"], False)])
def test_a_loud_low_string_is_given_room_to_swing(sign: str, strings: list[str], warned: bool):
    """A string of the wire octaves plucked loudly swings into its neighbour (common practice); the
    twin string, one farther off, leaves room. Softly played the note is read as it is written."""
    draft = drafted(level(sign) + note("r", 16), "".join(low(n, 2) for n in ("E2", "F#2", "E2"))
                    + low("r", 2) + low("r", 8), 120, fifths=1)
    assert [n.pitch.name for n in draft.notes] == strings
    assert any(r.kind == "swing" for r in risks(draft, SETTINGS)) is warned


def test_a_loud_low_string_without_a_twin_beside_it_is_told_of():
    """D has one string: nothing to do but know it; high up and softly nothing is told."""
    def told(sign: str, names: str) -> list[str]:
        draft = drafted(level(sign) + note("r", 16), "".join(low(n, 2) for n in names.split())
                        + low("r", 2) + low("r", 8), 120)
        return [r.sentence for r in risks(draft, SETTINGS) if r.kind == "swing"]

    assert told("f", "C2 D2 G2") == [
        "C2 is plucked loudly and may still swing into the string of D2 0.25 s after"]
    assert told("f", "C3 D3 G3") == told("mp", "C2 D2 G2") == []


def test_a_texture_is_thin_where_two_notes_sound_at_most():
    """Held notes count, rests do not."""
    draft = drafted(note("C5", 4) + note("D5", 4) + chord("E5 G5", 4) + note("r", 4),
                    low("C3", 12) + low("C3", 4), 60)
    parts = slices(draft.notes, draft.source.tempo)
    assert exposed(parts) == [True, True, False, True]


def test_a_loud_texture_is_not_exposed():
    """Common practice: the risk weighs more where it is thin and quiet."""
    draft = drafted(note("C5", 4) + level("f") + note("D5", 4) + level("p") + note("E5", 8),
                    low("C3", 16), 60)
    assert exposed(slices(draft.notes, draft.source.tempo)) == [True, False, True]


def test_parallel_sixths_in_both_hands_lose_nothing():
    """Awkward, so they cost more than the same tune in one line; still every note sounds."""
    tops = ("E5", "F5", "G5", "A5", "B5", "A5", "G5", "F5")
    sixths = [f"{HarpString(Pitch.parse(t).position - 5).pitch(0).name} {t}" for t in tops]
    both = drafted("".join(chord(s, 2) for s in sixths), "".join(
        chord(" ".join(Pitch.parse(p).shifted(-1).name for p in s.split()), 2, voice=5, staff=2)
        for s in sixths), 100)
    single = drafted("".join(note(t, 2) for t in tops), low("r", 16), 100)
    assert len(both.notes) == 32
    assert both.cost["hands"] > single.cost["hands"]


def test_the_tune_is_shared_where_a_hand_would_leap():
    """Hands sharing tune and accompaniment are the most effective (Orchestration Online, 70)."""
    leaps = "".join(note(n, 2) for n in ("C3", "E6", "C3", "F6", "C3", "G6", "C3", "A6"))
    draft = drafted(leaps, low("r", 16), 200)
    assert {n.hand for n in draft.notes if n.pitch.name == "C3"} == {"L"}
    assert {n.hand for n in draft.notes if n.pitch.octave == 6} == {"R"}


def test_a_hand_that_rests_takes_what_lies_beyond_a_leap():
    """Neither a single note of it nor, where the leap is none, anything (common practice)."""
    down = [(n, "L") for n in ("C3", "D3", "F3", "D3")]
    wide = drafted(note("D5", 4) + "".join(note(n, 2) for n, _ in down) + note("r", 4),
                   low("r", 16), 120)
    assert [(n.pitch.name, n.hand) for n in wide.notes] == [("D5", "R"), *down]
    near = drafted(note("D5", 4) + "".join(note(n, 2) for n in ("F4", "G4", "B4", "G4"))
                   + note("r", 4), low("r", 16), 120)
    assert {n.hand for n in near.notes} == {"R"}


def test_a_slow_octave_is_placed_ahead_with_thumb_and_fourth():
    draft = drafted("".join(note(n, 4) for n in ("C4", "C5", "D4", "D5")),
                    chord("C3 G3", 16, voice=5, staff=2), 60)
    right = [n.finger for n in draft.notes if n.hand == "R"]
    assert right[1::2] == [1, 1]
    assert 1 not in right[::2]


def test_a_low_repetition_is_kept_and_weighs_more_the_faster_it_is():
    """A finger put back on a sounding string buzzes, most of all on wire (Orchestration Online)."""
    def hands(bpm: int) -> int:
        draft = drafted(note("r", 16), "".join(low("D2", 2) for _ in range(8)), bpm)
        assert len(draft.notes) == 8
        return draft.cost["hands"]

    assert hands(160) > hands(110) >= hands(60)


def test_a_small_hand_is_given_the_same_notes():
    """Every limit of reach is a player's setting."""
    chords = (chord("C5 E5 G5 C6", 16), chord("C3 G3 C4 E4", 16, voice=5, staff=2))
    small = replace(SETTINGS, player=replace(PLAYER, span_steps=7, comfortable_span_steps=6))
    draft = drafted(*chords, 60, settings=small)
    (notes,) = by_onset(draft)
    held = {hand: [n.string.position for n in notes if n.hand == hand and not n.rolled]
            for hand in "LR"}
    assert {named(notes)[0], named(notes)[-1]} == {"C3", "C6"}
    assert all(max(s) - min(s) <= 7 for s in held.values() if s)


def test_the_tune_stays_in_its_hand_over_a_chord_beside_it():
    """A ninth down to the string next to the left thumb: first and fourth finger have it."""
    right = note("F5", 3) + note("F5", 1) + note("E4", 8) + "".join(
        note(n, 1) for n in ("F4", "A4", "C5", "Eb5"))
    left = low("Bb2") + "".join(chord("F3 Bb3 D4", 4, voice=5, staff=2) for _ in "123")
    tune = [n for n in drafted(right, left, 150, fifths=-2).notes if n.source.staff == 1]
    assert [n.pitch.name for n in tune if n.hand == "L"] == []
