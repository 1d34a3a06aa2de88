"""Small scenes of fingers: turns, five notes, a late finger, the wide step, a trill.

As in ``test_scenes``: the answer a harpist would give, found unasked; where no book is named the
scene stands for common practice.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest

from arranger.model.draft import Draft, HarpNote
from arranger.model.pitch import Pitch
from arranger.model.placed_groups import placed_groups
from arranger.options.spots import risks
from arranger.plan.grip_costs import GripCosts
from arranger.plan.grips import Grip
from tests.handwritten import chord, low, note
from tests.test_scenes import PLAYER, SETTINGS, by_onset, drafted, named

SEVEN = "C4 E4 G4 C5 E5 G5 C6"


def line(names: str, length: int = 1, make: Callable[[str, int], str] = note) -> str:
    """Single notes of a staff, and rests to the end of the bar."""
    played = names.split()
    left = 16 - len(played) * length
    return "".join(make(n, length) for n in played) + "".join(
        make("r", n) for n in (1, 2, 4, 8) if left & n)


#: What keeps the left hand busy.
BUSY = line("C2 G2 C3 G2 C2 G2 C3 G2", 2, low)


def run_to(names: str, held: str) -> str:
    """Four quick notes and a chord."""
    return "".join(note(n, 1) for n in names.split()) + chord(held, 12)


def of_hand(draft: Draft, hand: str) -> list[HarpNote]:
    return sorted((n for n in draft.notes if n.hand == hand),
                  key=lambda n: (n.onset, n.pitch.midi))


def fingers(draft: Draft, hand: str = "R") -> list[int | None]:
    return [n.finger for n in of_hand(draft, hand)]


def told(draft: Draft) -> str:
    return "; ".join(r.sentence for r in risks(draft, SETTINGS))


@pytest.mark.parametrize(("names", "wanted"), [
    (SEVEN, [4, 3, 2, 1, 3, 2, 1]),
    (" ".join(reversed(SEVEN.split())), [1, 2, 3, 4, 1, 2, 3]),
    ("C4 D4 E4 F4 G4 A4 B4 C5", [4, 3, 2, 1, 4, 3, 2, 1])])
def test_a_line_that_must_stay_in_one_hand_turns_once(names: str, wanted: list[int]):
    """4-3-2-1-3-2-1: four fingers, then a turn over few strings, as the other hand is busy; the
    second group begins on the beat."""
    draft = drafted(line(names), BUSY, 110)
    assert [n.pitch.name for n in of_hand(draft, "R")] == names.split()
    assert fingers(draft) == wanted


def test_both_hands_of_an_octave_arpeggio_turn_at_once():
    """Berlioz 1855, ch. "La Harpe": such an arpeggio is for a slow tempo; fingers fall alike."""
    names = "Eb3 G3 Bb3 Eb4 G4 Bb4 Eb5"
    draft = drafted(line(names), line("Eb2 G2 Bb2 Eb3 G3 Bb3 Eb4", 1, low), 60, fifths=-3)
    assert fingers(draft, "L") == fingers(draft, "R") == [4, 3, 2, 1, 3, 2, 1]


def test_an_arpeggio_is_split_in_groups_of_four_at_most_where_it_is_quick():
    """Kuntz: groups of three or four; five and more in one hand only at a moderate tempo."""
    names = SEVEN + " E6"
    quick = drafted(line(names), low("r", 16), 90)
    assert fingers(quick, "R") == fingers(quick, "L") == [4, 3, 2, 1]
    assert {e.reason for e in quick.ledger.entries} == {"the left hand lies nearer or is free"}
    calm = drafted(line(names, 2), low("r", 16), 60)
    assert {n.hand for n in calm.notes} == {"R"}


@pytest.mark.parametrize("length", [1, 2])
@pytest.mark.parametrize("hand", ["R", "L"])
def test_the_thumb_slides_down_to_the_first_of_the_last_four(length: int, hand: str):
    """Volpe Bligh: of five notes downwards the thumb has two, by sliding to the note below."""
    if hand == "R":
        draft = drafted(line("G5 F5 E5 D5 C5", length), BUSY, 120)
    else:
        draft = drafted(line("G6 C6 G6 C6 G6 C6 G6 C6", 2), line("G3 F3 E3 D3 C3", length, low),
                        120)
    assert fingers(draft, hand) == [1, 1, 2, 3, 4]
    played = of_hand(draft, hand)
    assert [len(group) for group in placed_groups(played)] == [5]


@pytest.mark.parametrize("names", ["A5 G5 F5 E5 D5 C5", "B5 A5 G5 F5 E5 D5 C5"])
def test_a_longer_scale_turns_and_does_not_slide_twice(names: str):
    """Common practice: fingers pass the thumb."""
    draft = drafted(line(names), BUSY, 120)
    assert not any(a.finger == b.finger for a, b in pairwise(of_hand(draft, "R")))


@pytest.mark.parametrize("names", ["C5 D5 E5 F5 G5", "G5 E5 C5 G4 E4", "C5 E5 G5 C6 E6"])
def test_five_quick_notes_are_a_turn_and_no_slide(names: str):
    """Volpe Bligh: the fourth finger slides badly; a finger hops only where there is time."""
    quick, calm = (drafted(line(names, length), BUSY, 120) for length in (1, 2))
    held = of_hand(quick, "R")
    assert [n.pitch.name for n in held] == names.split()
    assert all(a.finger != b.finger for a, b in pairwise(held))
    turns = [(a, b) for a, b in pairwise(held) if a.finger and b.finger
             and (b.pitch.midi > a.pitch.midi) != (b.finger < a.finger)]
    assert len(turns) == 1
    assert all(abs(a.string.position - b.string.position) <= 2 for a, b in turns)
    assert len(calm.notes) == len(quick.notes)


def test_at_leisure_five_notes_ask_one_hop_of_the_fingers():
    """Volpe Bligh: where it is not fast the hand hops."""
    slow = drafted(line("C5 D5 E5 F5 G5 E5 F5 G5", 2), low("C3", 16), 40)
    assert slow.cost["hands"] == SETTINGS.prices["apart"]
    assert not risks(slow, SETTINGS)


def test_a_slow_tune_is_fingered_the_way_the_hand_lies():
    """Common practice: fingers follow the line, however slow; only the thumb is passed."""
    slow = drafted(line("B5 A5 G5 A5 B5 C6 B5 A5", 2), low("C3", 16), 40)
    fingers = {n.pitch.name: n.finger for n in slow.notes}
    assert fingers["C6"] < fingers["B5"] < fingers["A5"] < fingers["G5"]


@pytest.mark.parametrize("run", ["C6 B5 A5 G5", "G5 A5 B5 C6", "C6 B5 C6 D6"])
def test_the_finger_that_comes_late_to_a_chord_is_not_the_lowest(run: str):
    """The bottom note is placed early, the upper ones last; one of four fingers must be late."""
    draft = drafted(run_to(run, "E4 G4 B4 E5"), BUSY, 90)
    *_, last, first, second, third, fourth = of_hand(draft, "R")
    assert named([first, second, third, fourth]) == ["E4", "G4", "B4", "E5"]
    assert last.finger == fourth.finger == 1
    assert "0.17 s to place 4 new strings: a finger may come late to the chord" in told(draft)


def test_a_chord_is_placed_with_the_fingers_that_are_free():
    """A chord that is partly placed in time costs less: the finger just used stays out of it."""
    three, four = (drafted(run_to("G5 A5 B5 C6", names), BUSY, 90)
                   for names in ("E4 G4 C5", "E4 G4 B4 E5"))
    *_, last, first, second, third = of_hand(three, "R")
    assert last.finger not in (first.finger, second.finger, third.finger)
    assert first.finger == 4
    assert three.cost["hands"] < four.cost["hands"]


def test_with_time_to_place_no_finger_is_late():
    draft = drafted(run_to("G5 A5 B5 C6", "E4 G4 B4 E5"), low("C2", 16), 48)
    assert draft.cost["hands"] == 0
    assert "late" not in told(draft)


@pytest.mark.parametrize(("names", "wanted"), [
    ("C3 G3", [2, 1]), ("C3 D3 A3", [3, 2, 1]), ("C3 E3 C4", [4, 3, 1]),
    ("C3 D3 C4", [4, 3, 1]), ("C3 D3 E3 C4", [4, 3, 2, 1])])
@pytest.mark.parametrize("hand", ["L", "R"])
def test_the_wide_step_is_the_thumbs(names: str, wanted: list[int], hand: str):
    """The Harp Legacy Project: thumb and second finger span a fifth or wider with comfort, third
    and fourth stay near the second."""
    high = " ".join(f"{n[0]}{int(n[1]) + 2}" for n in names.split())
    draft = (drafted(note("C7", 16), chord(names, 16, voice=5, staff=2), 60) if hand == "L" else
             drafted(chord(high, 16), low("C2", 16), 60))
    assert fingers(draft, hand) == wanted


def test_fingers_that_must_stay_near_are_not_asked_to_part():
    """The same source: a fifth in the middle of the hand goes to fingers with one between."""
    draft = drafted(note("C7", 16), chord("C3 A3 C4", 16, voice=5, staff=2), 60)
    (notes,) = by_onset(draft)
    lowest, middle = notes[:2]
    assert middle.string.position - lowest.string.position > PLAYER.finger_pair_3_4_steps
    assert (lowest.finger, middle.finger) == (4, 2)


@pytest.mark.parametrize("names", ["B5 C6", "C6 B5"])
def test_a_high_trill_is_played_by_two_fingers_in_turn(names: str):
    """C. Swanson: 2121 is the commonest trill of one hand."""
    draft = drafted(line(" ".join([names] * 8)), BUSY, 140)
    assert len(of_hand(draft, "R")) == 16
    assert {(n.pitch.name, n.finger) for n in of_hand(draft, "R")} == {("B5", 2), ("C6", 1)}


@pytest.mark.parametrize("left", [
    "".join(low(n) + chord("F3 Bb3 D4", 4, voice=5, staff=2) for n in ("Bb2", "F2")),
    line("F4 Db4 Db2 F3 Db4 Ab3 F4 Db4 Ab3 F3 Db4 Ab3 F4 Db4 Db2 F3", 1, low)])
def test_a_bass_is_the_fourth_finger_s(left):
    """The hand comes down to it, from a chord or further than it spans: bass 4, then 3 2 1."""
    right = "".join(note(n, 2) for n in ("F5", "Db6", "Eb5", "C6") * 2)
    basses = [n for n in drafted(right, left, 68, fifths=-5).notes if n.onset > 0
              and n.pitch.name in ("F2", "Db2")]
    assert {(n.hand, n.finger) for n in basses} == {("L", 4)}


@pytest.mark.parametrize("names", ["C5 E5", "G4 C5 E5", "E4 G4 C5 E5"])
def test_a_chord_that_comes_again_is_placed_again_as_it_was(names):
    """A single note changes fingers where it is quick; a chord does not gain by it."""
    draft = drafted("".join(chord(names, 1) for _ in range(16)), BUSY, 72)
    struck = {tuple((n.pitch.name, n.finger) for n in here if n.hand == "R")
              for here in by_onset(draft)}
    assert len(struck) == 1


def test_a_chord_is_anchored_by_its_lowest_finger_where_that_is_free_and_near():
    """The bottom note is placed early, the upper ones last; a chord anchored so costs less (common
    practice). Not where that finger has just played, nor where the whole hand must come first."""
    draft = drafted(note("C6", 2) + chord("E5 G5 B5", 2) + note("r", 12), low("C2", 16), 120)
    first, *held = fingers(draft)
    assert first == 1
    assert held[0] != 1
    costs = GripCosts(PLAYER, SETTINGS.prices)

    def price(before: str, finger: int) -> int:
        old = costs.number(Grip((Pitch.parse(before).position,), (finger,)))
        new = costs.number(Grip(tuple(Pitch.parse(n).position for n in ("E5", "G5", "B5")),
                                (4, 3, 2)))
        return int(costs.own(1, np.array([old]), np.array([0.25]), np.array([new]))[0, 0])

    assert price("C6", 1) == 2 * SETTINGS.prices["replace"]
    assert price("C6", 4) == price("B6", 1) == 3 * SETTINGS.prices["replace"]
