"""What the joint plan makes of small scenes: the answer a harpist would give, found unasked.

Where no book is named the scene stands for common practice. Tempi are chosen so that the danger of
the scene is real; the plan is that of an average player on a pedal harp.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest

from arranger.model.draft import Draft, HarpNote
from arranger.passes.pipeline import arrange
from arranger.passes.settings import Settings
from arranger.plan.grip_costs import together
from arranger.plan.grips import Grip, grip_price
from arranger.plan.roles import roles
from arranger.plan.slices import slices
from arranger.plan.stand_ins import stand_ins
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player
from arranger.rulebook.prices import load_prices
from tests.handwritten import backup, chord, low, note, piano, score_of

PLAYER, PRICES = load_player("average"), load_prices()
SETTINGS = Settings(load_harp("pedal-47"), PLAYER, PRICES)


def drafted(right: str, left: str, bpm: int, fifths: int = 0, settings: Settings = SETTINGS
            ) -> Draft:
    """One bar of four crotchets, arranged."""
    return arrange(*score_of(piano(right + backup(16) + left, fifths=fifths), bpm), settings).draft


def by_onset(draft: Draft) -> list[list[HarpNote]]:
    found: dict[Fraction, list[HarpNote]] = defaultdict(list)
    for one in draft.notes:
        found[one.onset].append(one)
    return [sorted(found[o], key=lambda n: n.pitch.midi) for o in sorted(found)]


def named(notes: list[HarpNote]) -> list[str]:
    return [n.pitch.name for n in notes]


def test_hands_do_not_meet_on_one_string():
    """A last note shared with the other hand's next chord is plucked on two strings."""
    run = "".join(note(n, 1) for n in ("G#4", "F#4", "E4", "C#4"))
    draft = drafted(run + note("r", 12), low("r") + chord("E3 C#4", 4, voice=5, staff=2)
                    + low("r", 8), 90, fifths=4)
    shared = [n for n in draft.notes if n.pitch.midi == 61]
    one, two = sorted(shared, key=lambda n: n.onset)
    assert one.pitch != two.pitch or one.hand == two.hand
    assert {n.pitch.midi for n in draft.notes} == {68, 66, 64, 61, 52}
    assert [e.reason for e in draft.ledger.entries] == [
        "plucked on the D string: the C string is plucked 0.17 s after"]


def test_a_note_without_twin_is_not_exchanged():
    """D, G and A natural have one string each (Berlioz 1855, ch. "La Harpe")."""
    run = "".join(note(n, 1) for n in ("C5", "B4", "A4", "G4"))
    draft = drafted(run + note("r", 12), low("r") + chord("E3 G4", 4, voice=5, staff=2)
                    + low("r", 8), 90)
    assert [n.pitch.name for n in draft.notes if n.pitch.midi == 67] == ["G4", "G4"]


@pytest.mark.parametrize("bpm", [60, 72])
def test_no_pedal_passes_its_natural_notch_in_a_hurry(bpm):
    """E flat to E sharp within a beat is respelled on one side rather than moved two notches."""
    draft = drafted(note("Eb5", 4) + note("E#5", 4) + note("Eb5", 4) + note("E#5", 4),
                    low("r", 16), bpm)
    assert [m for m in draft.plan.moves if m.notches == 2] == []
    assert [n.pitch.midi for n in draft.notes] == [75, 77, 75, 77]


@pytest.mark.parametrize("bpm", [60, 80, 100])
def test_a_chord_of_the_key_is_read_as_it_is(bpm):
    """The B flat of an E flat chord, after B natural: its pedal moves back, it is no A sharp."""
    right = (chord("Eb4 G4 Bb4", 4) + note("C5", 2) + note("B4", 2) + note("C5", 4)
             + chord("Eb4 G4 Bb4", 4))
    draft = drafted(right, low("Eb2", 16), bpm, fifths=-3)
    assert named(by_onset(draft)[-1]) == ["Eb4", "G4", "Bb4"]


def test_a_grace_note_left_out_is_called_one():
    """Its D sharp stands among D naturals, too quick for the pedal."""
    right = "".join(note("D5", 1) + note("D#5", grace=True) + note("E5", 1) + note("F5", 1)
                    + note("E5", 1) for _ in range(4))
    draft = drafted(right, low("D3", 16), 120)
    reasons = [e.reason for e in draft.ledger.entries if "D♯5" in e.reason]
    assert reasons
    assert all(r.startswith("grace note D♯5: the D pedal") for r in reasons)


def test_what_leans_on_a_note_does_not_take_its_place():
    """F sharp leans on the G of a chord of G over B: B may stand in for G, F sharp not."""
    music = note("F#4", 16) + backup(16) + chord("B2 G3 D4", 16, voice=5, staff=2)
    score, part = score_of(piano(music), 60)
    notes = [HarpNote(n, n.pitch, "R", None) for n in score.part_notes(part)]
    (here,) = slices(notes, score.tempo)
    g = here.notes[1]
    assert g.pitch.name == "G3"
    assert stand_ins(g, here, roles(notes)[g.id]) == (59,)


def test_a_string_that_comes_back_after_others_has_its_time_too():
    """Two strings in turn, too quick for either: notes are left out until each has its time."""
    quick = "".join(note(n, 1) for n in ("G4", "A4") * 8)
    draft = drafted(quick, low("r", 16), 400)
    times = defaultdict(list)
    for one in draft.notes:
        times[one.pitch].append(float(one.onset) * 60 / 400)
    assert min(b - a for row in times.values() for a, b in pairwise(row)) >= 0.1 - 1e-9
    assert len(draft.notes) >= 8


def test_a_repeat_gives_a_string_its_time_too():
    """The last note of a bar is the first of its repeat: it goes, else the bar stays whole."""
    quick = "".join(note(n, 1) for n in ("G4", "A4", "B4", "D5") * 3 + ("C5", "B4", "A4", "G4"))
    bar = quick + backup(16) + low("r", 16)
    again = '<barline location="right"><repeat direction="backward"/></barline>'
    played, twice = (arrange(*score_of(piano(music), 170), SETTINGS).draft
                     for music in (bar, bar + again))
    assert len(played.notes) == 16
    (lost,) = {n.source.id for n in played.notes} - {n.source.id for n in twice.notes}
    assert lost in (played.notes[0].source.id, played.notes[-1].source.id)
    assert [e.rule for e in twice.ledger.entries] == ["R1"]


@pytest.mark.parametrize("bpm", [60, 90])
def test_the_pedals_are_ready_before_the_music_goes_back(bpm):
    """G sharp ends the bar and G natural begins it: the pedal moves under the last note, so the
    piece opens with the G that is played first. With more time after the barline it moves there."""
    again = '<barline location="right"><repeat direction="backward"/></barline>'
    quick, slow = (arrange(*score_of(piano(
        right + backup(16) + low("r", 16) + again), bpm), SETTINGS).draft for right in (
            note("E4", 1) + note("G4", 1) + note("A4", 6) + note("E5") + note("G#4"),
            note("E4", 8) + note("G4", 4) + note("A4", 3) + note("G#4", 1)))
    assert quick.plan.opening.alter("G") == 0
    assert [(m.pedal, m.after) for m in quick.plan.moves] == [("G", 1), ("G", 0)]
    assert quick.plan.moves[-1].onset > 2
    assert slow.plan.opening.alter("G") == 1
    assert 0 < slow.plan.moves[0].onset < 2
    assert {n.pitch.midi for n in quick.notes} == {64, 67, 69, 76, 68}


def test_repeated_notes_take_both_strings_of_a_unison_when_they_are_fast():
    """Berlioz 1855, ch. "La Harpe": B flat and A sharp in turn, "easy and well sounding"."""
    fast = drafted("".join(note("Bb4", 1) for _ in range(16)), low("r", 16), 160, fifths=-3)
    strings = [n.pitch.step for n in fast.notes]
    assert len(strings) == 16
    assert set(strings) == {"A", "B"}
    assert all(a != b for a, b in pairwise(strings))
    assert {e.reason for e in fast.ledger.entries} <= {
        f"plucked on the A string: the B string is plucked 0.09 s {when}"
        for when in ("before", "after")}
    assert fast.ledger.entries


def test_repeated_notes_at_leisure_stay_on_their_string():
    slow = drafted("".join(note("Bb4", 4) for _ in range(4)), low("r", 16), 60, fifths=-3)
    assert {n.pitch.name for n in slow.notes} == {"Bb4"}


def test_ten_notes_become_eight():
    """Chords of up to eight notes (Volpe Bligh, "Writing for the Pedal Harp")."""
    draft = drafted(chord("C5 E5 G5 C6 E6", 16), chord("C3 E3 G3 C4 E4", 16, voice=5, staff=2),
                    60)
    (notes,) = by_onset(draft)
    assert len(notes) <= 8
    assert all(sum(n.hand == hand for n in notes) <= 4 for hand in "LR")
    assert named(notes)[0] == "C3"
    assert named(notes)[-1] == "E6"
    assert {e.reason.partition(": ")[2] for e in draft.ledger.entries} == {
        "10 strings at once, two hands have 8 fingers"}


def test_the_right_hand_stays_out_of_the_lowest_octaves():
    """Below G2 a note of the upper staff goes to the left hand (common practice)."""
    draft = drafted(note("E2", 16), low("r", 16), 60)
    assert [n.hand for n in draft.notes] == ["L"]
    assert [e.reason for e in draft.ledger.entries] == ["E2 is out of the right hand's reach"]


def test_a_quick_run_of_five_is_not_left_to_one_hand():
    """A hand places four fingers at once (Kuntz: groups of four or fewer)."""
    names = ("C4", "D4", "E4", "F4", "G4", "A4", "B4", "C5", "D5", "E5", "F5", "G5", "A5", "B5",
             "C6", "D6")
    draft = drafted("".join(note(n, 1) for n in names), low("r", 16), 120)
    longest, run = 1, 1
    ordered = sorted(draft.notes, key=lambda n: n.onset)
    for a, b in pairwise(ordered):
        run = run + 1 if a.hand == b.hand else 1
        longest = max(longest, run)
    assert [n.pitch.name for n in ordered] == list(names)
    assert longest <= PLAYER.one_hand_run_notes


def test_a_wide_left_hand_gives_its_top_note_away():
    """Beyond its span, where the right hand is near and free."""
    draft = drafted(note("A4", 16), chord("C3 G3 C4 G4", 16, voice=5, staff=2), 60)
    (notes,) = by_onset(draft)
    assert {n.pitch.name: n.hand for n in notes}["G4"] == "R"
    assert {n.pitch.name: n.hand for n in notes}["C3"] == "L"


def grip(names: str, fingers: tuple[int, ...]) -> int:
    harp = load_harp("pedal-47")
    places = sorted(p.position for name in names.split()
                    for p in [s for s in harp.strings if f"{s.step}{s.octave}" == name])
    return grip_price(Grip(tuple(places), fingers), PLAYER, PRICES)


def test_the_widest_gap_lies_next_to_the_thumb():
    """Kuntz: the large interval between thumb and second finger, small ones below."""
    assert grip("C3 D3 E3 C4", (4, 3, 2, 1)) < grip("C3 A3 B3 C4", (4, 3, 2, 1))


def test_thumb_below_a_finger_of_the_other_hand_is_the_bad_way_round():
    """Both sneak in between the two strings; a finger below and a thumb above do not."""
    bad = together(Grip((20,), (1,)), Grip((21,), (3,)), PRICES)
    clean = together(Grip((20,), (2,)), Grip((21,), (1,)), PRICES)
    assert bad > clean > 0


def test_a_larger_hand_keeps_what_a_small_one_gives_up():
    """What is best depends on the player's own hands."""
    chords = (note("A5", 16), chord("C3 G3 C4 F4", 16, voice=5, staff=2))
    wide = replace(SETTINGS, player=replace(PLAYER, span_steps=11, comfortable_span_steps=10))
    small = replace(SETTINGS, player=replace(PLAYER, span_steps=8, comfortable_span_steps=7))
    of_wide, of_small = (drafted(*chords, 60, settings=s) for s in (wide, small))
    assert {n.hand for n in of_wide.notes if n.pitch.midi < 69} == {"L"}
    assert of_small.total > of_wide.total


def test_of_notes_of_one_name_one_is_never_a_doubling():
    """The last of a pitch class is not cheap to lose (common practice: thin the doublings)."""
    draft = drafted(chord("E4 A4 C5 E5", 8) + note("r", 8), chord("C2 A2 C3", 8, voice=5, staff=2)
                    + low("r", 8), 60)
    found = roles(draft.notes)
    plain = Counter(n.pitch.step for n in draft.notes if not found[n.id].doubled)
    assert plain == {"A": 1, "C": 1, "E": 1}
    held = drafted(note("A4", 16), low("r", 4) + note("A2", 12, voice=5, staff=2), 60)
    assert [n.pitch.name for n in held.notes if roles(held.notes)[n.id].doubled] == ["A2"]
