"""Spots and options: invented scenes with the cure a harpist would name, prices, drafts.

The scenes stand for common practice of harpists; each says which.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import combinations

import pytest
from lxml import etree

from arranger.model.choice import Choice
from arranger.model.draft import Draft
from arranger.model.ledger import GiveToHand
from arranger.model.pins import PedalPin, Pins
from arranger.model.pitch import Pitch
from arranger.model.score import Score
from arranger.options.drafts import (
    LEAST_APART,
    WholeDraft,
    apart,
    dominates,
    whole_drafts,
    worth_offering,
)
from arranger.options.hand_risks import hand_risks
from arranger.options.honoured import broken
from arranger.options.ideas import Workshop, ideas
from arranger.options.key_table import key_table, told
from arranger.options.knock_on import knock_on
from arranger.options.matching import match
from arranger.options.measures import measure
from arranger.options.present import present_pins
from arranger.options.spots import Spot, spots
from arranger.options.weigh import Scales, Weighed
from arranger.passes.pipeline import arrange
from arranger.passes.settings import Settings
from arranger.passes.start import HANDS, start
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player
from arranger.rulebook.prices import load_prices
from tests.handwritten import backup, chord, low, note, piano, score_of

SETTINGS = Settings(load_harp("pedal-47"), load_player("average"), load_prices())


def bars(*pairs: tuple[str, str], fifths: int = 0) -> etree._Element:
    """Bars of four crotchets, each as the right hand's notes and the left's."""
    return piano(*(right + backup(16) + left for right, left in pairs), fifths=fifths)


def spot_of(root: etree._Element, bpm: int, kind: str, *, pedals: tuple[PedalPin, ...] = (),
            alter: bool = False) -> Weighed:
    """The worst spot of a kind in a harp part that is kept as it is, with its options."""
    score, part = score_of(root, bpm)
    present = replace(present_pins(score, part, SETTINGS.harp, {}), pedals=pedals)
    draft = arrange(score, part, replace(SETTINGS, pins=present)).draft
    found = [s for s in spots(draft, SETTINGS) if s.risks[0].kind == kind]
    assert found, [(s.id, s.risks[0].sentence) for s in spots(draft, SETTINGS)]
    return Scales(draft, SETTINGS, present, alter).weigh(found[0])


def first_two(weighed: Weighed) -> list[str]:
    return [o.idea.choice.outcome for o in weighed.outcomes[:2]]


def test_a_string_the_other_hand_has_just_left_is_exchanged_for_its_twin():
    # common practice: a shared last note before a chord makes the second hand wait; moving one of
    # the two to the enharmonic string removes the collision
    run = "".join(note(n, 1) for n in ("G#4", "F#4", "E4", "C#4"))
    found = spot_of(bars((run + note("r", 12), low("r") + chord("E3 C#4", 4, voice=5, staff=2)
                          + low("r", 8))), 90, "collision")
    assert "left hand needs the string of C♯4 0.17 s after the right hand" \
        in found.spot.risks[0].sentence
    assert "string-D" in first_two(found)
    assert found.outcomes[0].cost_change < 0


def test_neighbouring_strings_are_spread_by_the_twin_string():
    # common practice: thumb on the lower, finger on the upper string is the bad way round
    found = spot_of(bars((chord("C#4 E4 A4", 16), chord("E3 A3 B3", 16, voice=5, staff=2))), 90,
                    "neighbours")
    assert "on B3 beside right" in found.spot.risks[0].sentence
    assert "string-D" in first_two(found)


@pytest.mark.parametrize(("left", "right", "bad"), [(1, 3, True), (2, 1, False), (1, 1, False)])
def test_thumb_below_finger_is_the_bad_way_round(left, right, bad):
    # common practice: finger on the lower and thumb on the upper string is clean
    score, part = score_of(bars((note("C4", 16), low("B3", 16))), 60)
    draft = start(score, part)
    notes = tuple(replace(n, finger=left if n.hand == "L" else right) for n in draft.notes)
    told = hand_risks(replace(draft, notes=notes), SETTINGS)
    assert [r.kind for r in told] == ["neighbours"]
    assert ("both sneak in between the two strings" in told[0].sentence) == bad
    assert told[0].weight == SETTINGS.prices["neighbours"] * (2 if bad else 1)


def test_a_move_of_two_notches_is_avoided_by_respelling():
    # common practice: flat to sharp passes the natural notch, where a foot may stop
    found = spot_of(bars((note("Db5", 8) + note("D#5", 8), low("r", 16))), 60, "two-notch")
    assert "passes the natural notch" in found.spot.risks[0].sentence
    assert {"string-E", "string-C"} & set(first_two(found))


def test_a_pedal_whose_string_is_long_silent_moves_earlier():
    # common practice: in fast music, where the string has been silent long before, earlier is
    # safer than two moves of one foot together
    figure = "".join(note(n, 2) for n in ("C5", "D5", "E5", "C5"))
    root = bars((note("F4") + note("G4") + note("C5", 8), low("r", 16)), (figure * 2, low("r", 16)),
                (note("F#4") + note("G#4") + note("C5", 8), low("r", 16)))
    late = (PedalPin("F", 1, Fraction(15, 2)), PedalPin("G", 1, Fraction(33, 4)))
    found = spot_of(root, 120, "crowd", pedals=late)
    assert "the right foot moves F♯ and G♯ within" in found.spot.risks[0].sentence
    moved = [o for o in found.outcomes[:2] if o.idea.choice.kind == "pedal"]
    assert [o.cost_change for o in moved] == [0]
    assert "earlier" in moved[0].idea.title


def test_a_chord_with_a_late_finger_is_rolled_from_the_bottom():
    # common practice: the bottom note (fourth finger) early, the upper ones last
    run = "".join(note(n, 1) for n in ("C6", "B5", "C6", "D6"))
    found = spot_of(bars((run + chord("E4 G4 B4 E5", 12), low("r", 4)
                          + chord("C2 G2 C3", 12, voice=5, staff=2))), 90, "placing")
    assert "a finger may come late" in found.spot.risks[0].sentence
    assert "roll" in first_two(found)
    assert "from the bottom" in next(o.idea.title for o in found.outcomes
                                     if o.idea.choice.kind == "roll")


def test_a_wide_left_hand_chord_gives_its_top_to_the_right_hand():
    # common practice: if the right hand can reach that low and has time
    found = spot_of(bars((note("G4", 16), chord("C3 G3 C4 E4", 16, voice=5, staff=2))), 90, "grip")
    assert "opens over 10 strings" in found.spot.risks[0].sentence
    assert first_two(found)[0] == "hand-right"
    assert found.outcomes[0].idea.choice.note.name == "E4"


def test_a_long_arpeggio_of_one_hand_is_split():
    # common practice: more than four notes make the hand turn; splitting is the usual way out
    run = "".join(note(n, 1) for n in ("C4", "E4", "G4", "C5", "E5", "G5", "C6", "E6"))
    found = spot_of(bars((run + note("r", 8), low("r", 16))), 90, "turn")
    assert "a line of 8 notes in the right hand" in found.spot.risks[0].sentence
    assert "line-left" in first_two(found)


def test_a_quick_trill_of_one_hand_is_offered_to_both():
    # C. Swanson: a trill is for two hands, or for one by 2121; the left hand has the lower string
    trill = "".join(note(n, 1) for n in ("B5", "C6") * 8)
    found = spot_of(bars((trill, low("r", 16))), 160, "repeat")
    both = next(o for o in found.outcomes if o.idea.choice.kind == "trill")
    assert both.idea.title == "beat 1: trill with both hands: the left hand takes the B5s"
    assert both.idea.choice.outcome == "trill-left"
    hands = {(n.pitch.name, n.hand) for n in both.draft.notes if n.pitch.octave > 4}
    assert hands == {("B5", "L"), ("C6", "R")}


def test_of_five_very_quick_notes_the_last_may_be_left_out():
    # Kuntz: harpists commonly leave out the fifth note (Strauss, Don Juan); where there is time, or
    # four, nothing is said
    def found(names: str, bpm: int) -> list[str]:
        run = "".join(note(n, 1) for n in names.split())
        rest = "".join(note("r", k) for k in (1, 2, 4, 8) if 16 - len(names.split()) & k)
        busy = "".join(low(n, 2) for n in ("C2", "G2", "C3", "G2") * 2)
        draft = arrange(*score_of(bars((run + rest, busy)), bpm), SETTINGS).draft
        return [r.sentence for r in hand_risks(draft, SETTINGS) if r.kind == "fifth"]

    assert found("C5 E5 G5 C6 E6", 190) == [
        "5 quick notes are one more than the right hand places: the last, E6, is commonly left out"]
    assert found("C5 E5 G5 C6 E6", 100) == found("C5 E5 G5 C6", 190) == []
    run = "".join(note(n, 1) for n in ("C5", "E5", "G5", "C6", "E6"))
    root = bars((run + note("r", 1) + note("r", 2) + note("r", 8),
                 "".join(low(n, 2) for n in ("C2", "G2", "C3", "G2") * 2)))
    assert any(o.idea.choice.outcome == "drop" and o.idea.choice.note == Pitch.parse("E6")
               for o in spot_of(root, 190, "fifth", alter=True).outcomes)


def test_one_member_of_a_broken_chord_is_respelled_beside_the_other_hand():
    # common practice: respelling one member lets a finger be placed before the other hand has left
    # the neighbouring string
    found = spot_of(bars((note("r", 4) + note("C#4", 1) + note("E4", 1) + note("A4", 1)
                          + note("r", 1) + note("r", 8),
                          low("r", 1) + low("E3", 1) + low("A3", 1) + low("B3", 1)
                          + low("r", 12))), 90, "neighbours")
    assert "beside B3, which the left hand plucked" in found.spot.risks[0].sentence
    assert "string-D" in first_two(found)


def test_a_pitch_the_other_hand_holds_is_kept_on_its_twin_before_it_is_left_out():
    # common practice: of a unison the enharmonic string is preferred to leaving it out
    found = spot_of(bars((chord("E4 C#5 E5", 16), low("r", 1) + low("C#5", 3) + low("r", 12))), 80,
                    "collision", alter=True)
    told = [o.idea.choice.outcome for o in found.outcomes]
    assert told[0] == "string-D"
    assert "drop" in told


def test_of_a_note_left_out_what_stands_in_its_way_is_asked_too():
    # common practice: of two notes that one string would have to give either may go
    score, part = score_of(bars((chord("E#5 F#5 G5", 16), chord("E3 B3", 16, voice=5, staff=2))),
                           60)
    draft = arrange(score, part, SETTINGS).draft
    (spot,) = [s for s in spots(draft, SETTINGS) if s.risks[0].kind == "altered"]
    lost = next(n for n in score.part_notes(part) if n.id == spot.risks[0].notes[0])
    assert lost.midi not in {n.pitch.midi for n in draft.notes}
    weighed = Scales(draft, SETTINGS).weigh(spot)
    given = [o for o in weighed.outcomes if lost.id not in o.idea.placed.pins.notes]
    assert given, [o.idea.title for o in weighed.outcomes]
    for outcome in given:
        assert lost.midi in {n.pitch.midi for n in outcome.draft.notes}


CHROMATIC = [
    ("".join(note(n, 2) for n in ("E5", "D#5", "E5", "E#5", "F#5", "G#5", "A5", "B5")),
     low("A3", 8) + chord("C#4 E4", 8, voice=5, staff=2)),
    ("".join(note(n, 2) for n in ("A5", "G5", "F5", "Eb5", "D5", "C#5", "B4", "A4")),
     chord("D3 F3 A3 D4", 16, voice=5, staff=2)),
    (chord("E4 G4 Bb4 C#5", 8) + chord("F4 A4 D5", 8),
     chord("A2 E3 G3 C#4", 8, voice=5, staff=2) + chord("D3 A3 F4", 8, voice=5, staff=2)),
]


@pytest.fixture(scope="module")
def free() -> tuple[Score, str, Draft, list[Weighed]]:
    score, part = score_of(bars(*CHROMATIC, fifths=3), 132)
    draft = arrange(score, part, SETTINGS).draft
    scales = Scales(draft, SETTINGS)
    return score, part, draft, [scales.weigh(s) for s in spots(draft, SETTINGS)[:3]]


def test_taking_an_option_changes_the_total_by_its_price(free):
    score, part, draft, weighed = free
    assert sum(len(w.outcomes) for w in weighed) >= 4
    for outcome in (o for w in weighed for o in w.outcomes):
        choice = Choice.parse(outcome.idea.choice.id)
        matched = match([choice], score, part, SETTINGS.harp)
        again = arrange(score, part, replace(SETTINGS, pins=matched.pins)).draft
        assert again.total - draft.total == outcome.cost_change
        if outcome.idea.choice.kind == "pedal":
            assert again.plan.moves == outcome.draft.plan.moves
        assert sum(outcome.terms.values()) == outcome.cost_change


def test_a_demand_that_hands_could_meet_and_feet_cannot_leaves_a_draft():
    # the right hand reaches down to the G string, where F sharp is G flat; no foot is that quick
    left = "".join(low(n, 1) for n in ("G2", "F#2", "G2", "F#2"))
    score, part = score_of(bars((note("r", 16), left + low("r", 12))), 200)
    choice = Choice("1", Fraction(5, 4), Pitch.parse("F#2"), "hand", "R")
    matched = match([choice], score, part, SETTINGS.harp)
    draft = arrange(score, part, replace(SETTINGS, pins=matched.pins)).draft
    whole = sum(n.pitch.midi == 43 for n in draft.notes) == 2
    assert whole == (broken(draft, matched.placed) == matched.placed)  # one or the other


def test_what_a_choice_entails_is_told_in_words():
    score, part = score_of(bars((note("B4", 4) + note("C5", 4) + note("D5", 4) + note("C#5", 4),
                                 low("G3", 16)), (note("D5", 16), low("B3", 16))), 60)
    was = arrange(score, part, SETTINGS).draft
    by_name = {n.pitch.name: n for n in reversed(was.notes)}
    (move,) = was.plan.moves
    gone = replace(was, plan=replace(was.plan, moves=()))
    moved = replace(move, onset=move.onset - 1)
    other = replace(move, pedal="D", after=-1)
    notes = tuple(replace(n, hand="R") if n is by_name["B3"] else
                  replace(n, pitch=Pitch.parse("Db5")) if n is by_name["C#5"] else n
                  for n in was.notes if n is not by_name["D5"])

    def told(one, two, asked=Pins()):  # noqa: B008 - a frozen value
        return knock_on(one, two, asked)
    assert told(was, was) == ()
    assert told(was, replace(was, notes=notes)) == (
        "bar 1: D5 is left out; C♯5 on the D♭ string", "bar 2: B3 in the right hand")
    assert told(was, gone) == ("bar 1: no pedal C♯",)
    assert told(gone, was) == ("bar 1: also pedal C♯",)
    swapped = replace(gone, plan=replace(gone.plan, moves=(other,)))
    assert told(was, swapped) == ("bar 1: pedal D♭ in place of pedal C♯",)
    late = replace(was, plan=replace(was.plan, moves=(moved,)))
    beat = score.locate(moved.onset).beat
    assert told(was, late) == (f"bar 1: pedal C♯ moves on beat {beat}, not {beat + 1}",)
    assert told(was, late, Pins(pedals=(PedalPin("C", 1, moved.onset),))) == ()


def test_outcomes_of_a_spot_differ_in_music_and_are_ranked(free):
    *_, weighed = free
    for one in weighed:
        faces = [frozenset((n.onset, n.pitch, n.hand, n.rolled) for n in o.draft.notes)
                 for o in one.outcomes if o.idea.choice.kind != "pedal"]
        assert len(set(faces)) == len(faces)
        prices = [o.cost_change for o in one.outcomes]
        assert prices == sorted(prices)


def test_ranked_options_equal_brute_force_over_all_ideas(free):
    score, part, draft, weighed = free
    scales = Scales(draft, SETTINGS)
    for one in weighed[:1]:
        prices = []
        for idea in ideas(one.spot, scales.shop):
            made = arrange(score, part, replace(SETTINGS, pins=idea.placed.pins)).draft
            if not broken(made, [idea.placed]) and idea.choice.kind != "pedal":
                prices.append(made.total - draft.total)
        for outcome in one.outcomes:
            assert outcome.idea.choice.kind == "pedal" or outcome.cost_change in prices
        assert all(o.cost_change >= min(prices) for o in one.outcomes
                   if o.idea.choice.kind != "pedal")


def test_whole_drafts_are_apart_and_none_is_dominated():
    score, part = score_of(bars(*CHROMATIC, fifths=3), 132)
    draft = arrange(score, part, SETTINGS).draft
    offered = whole_drafts(draft, SETTINGS)
    for one, other in combinations(offered, 2):
        assert apart(one.draft, other.draft) >= 0.10
        assert not dominates(one.measures, other.measures)
        assert not dominates(other.measures, one.measures)


@pytest.fixture(scope="module")
def again() -> tuple[Spot, Workshop]:
    """A tune's string plucked again at once by the same hand, which is a matter of comfort."""
    figure = "".join(note(n, 1) for n in ("E5", "D5", "D5", "C5"))
    score, part = score_of(bars((figure + note("G4", 12), low("C3", 16))), 90)
    present = present_pins(score, part, SETTINGS.harp, {})
    draft = arrange(score, part, replace(SETTINGS, pins=present)).draft
    (spot,) = [s for s in spots(draft, SETTINGS) if s.risks[0].kind == "repeat"]
    return spot, Workshop.of(draft, SETTINGS)


def test_no_tune_is_given_up_for_comfort(again):
    told = {i.choice.outcome for i in ideas(*again)}
    assert "hand-left" in told
    assert not told & {"drop", "octave-1", "octave--1"}
    assert any(i.startswith("pitch") for i in told)  # a short note may become another
    last = {i.choice.outcome for i in ideas(*again, at_a_loss=True)}  # where hardly any is found
    assert last - told >= {"drop"}


def test_an_idea_about_another_moment_says_which(again):
    titles = {i.choice.beat: i.title for i in ideas(*again) if i.choice.kind == "hand"}
    assert titles[Fraction(3, 2)] == "give the tune's D5 to the left hand"
    assert titles[Fraction(5, 4)] == "beat 1¼: give the tune's D5 to the left hand"


def test_what_is_lost_is_named_once():
    score, part = score_of(bars((chord("E#5 F#5 G5", 16), chord("E3 B3", 16, voice=5, staff=2))),
                           60)
    draft = arrange(score, part, SETTINGS).draft
    (spot,) = [s for s in spots(draft, SETTINGS) if s.risks[0].kind == "altered"]
    name, told, why = spot.risks[0].sentence.partition(" is left out: ")
    assert told
    assert not why.startswith((name, "tune note", "bass note"))


def test_where_no_taste_changes_a_tenth_the_hands_are_shared_otherwise():
    # broken chords that either hand can take, over a bass that rests: nothing there is dear
    figure = "".join(note(n, 2) for n in ("C4", "E4", "G4", "C5"))
    root = bars((figure + note("r", 8), low("r", 8) + "".join(low(n, 2) for n in (
        "G3", "E3", "C3", "G2"))), (figure * 2, low("r", 16)))
    score, part = score_of(root, 60)
    draft = arrange(score, part, SETTINGS).draft
    offered = whole_drafts(draft, SETTINGS)
    (one,) = [d for d in offered if d.id == "otherwise"]
    assert apart(one.draft, draft) >= LEAST_APART
    hands = [{n.id: n.hand for n in d.notes} for d in (draft, one.draft)]
    moved = {i for i in hands[0] if hands[0][i] != hands[1].get(i)}
    assert len(moved) >= LEAST_APART * len(hands[0])
    staffs = {n.id: HANDS[n.staff] for n in score.part_notes(part)}
    told = {e.edit.note for e in one.draft.ledger.entries if isinstance(e.edit, GiveToHand)}
    assert told == {i for i, hand in hands[1].items() if hand != staffs[i]}


def test_a_draft_near_the_usual_one_is_not_offered_and_puts_no_other_out():
    score, part = score_of(bars(*CHROMATIC, fifths=3), 132)
    draft = arrange(score, part, SETTINGS).draft
    usual = WholeDraft(None, draft, measure(draft, SETTINGS))
    better = replace(usual, measures=replace(usual.measures, pedals=usual.measures.pedals - 1))
    turned = replace(draft, notes=tuple(
        replace(n, hand="L" if n.hand == "R" else "R") for n in draft.notes))
    other = replace(usual, draft=turned)
    assert worth_offering([usual, better]) == (usual,)
    assert worth_offering([usual, better, other]) == (usual, other)
    worse = replace(other, measures=replace(other.measures, collisions=9))
    assert worth_offering([usual, worse]) == (usual,)
    best = replace(other, measures=better.measures)
    assert worth_offering([usual, best]) == (best,)


def test_a_part_that_is_kept_loses_and_changes_no_note():
    score, part = score_of(bars(*CHROMATIC[2:]), 60)
    present = present_pins(score, part, SETTINGS.harp, {})
    draft = arrange(score, part, replace(SETTINGS, pins=present)).draft
    sounding = {(n.onset, n.midi) for n in score.part_notes(part)}
    for spot in spots(draft, SETTINGS):
        for outcome in Scales(draft, SETTINGS, present).weigh(spot).outcomes:
            assert {(n.onset, n.pitch.midi) for n in outcome.draft.notes} == sounding


def test_a_roll_that_only_sets_the_strings_free_is_not_offered():
    found = spot_of(bars((chord("G#4 B4 D5 G5", 16), low("G2", 16))), 60, "altered")
    assert [o.idea.choice.outcome for o in found.outcomes] == ["string-A"]


def test_ids_name_their_choice_and_come_back():
    for text in ("12:3:C#5:string-D", "12@14:7/3:Bb3:drop", "1:1:F4:octave--1",
                 "3:2:pedal:pedal-F#", "5:1:C5:roll-no", "5:1:C5:pitch-Eb5", "5:1:C5:hand-left",
                 "5:1:C5:finger-2", "5:1:C5:trill-left"):
        assert Choice.parse(text).id == text
    for text in ("12:3:C#5", "12:3:H5:drop", "12:3:C5:finger-x", "12:3:C5:pedal-F", "",
                 "3:2:pedal:pedal-FF", "3:2:C5:pitch-H", "3:2:C5:string-H"):
        with pytest.raises(ValueError, match="not the id of an option"):
            Choice.parse(text)


def test_choices_are_told_in_words():
    for text, words in (("12:3:C#5:string-D", "C♯5 in bar 12, beat 3, as D♭5 on the D string"),
                        ("14:6:Cb5:string-B", "C♭5 in bar 14, beat 6, as B4 on the B string"),
                        ("14:6:Cb5:string-C", "C♭5 in bar 14, beat 6, on the C string"),
                        ("1:1:F4:octave--1", "F4 in bar 1, beat 1, an octave lower"),
                        ("1:1:F4:octave-2", "F4 in bar 1, beat 1, 2 octaves higher"),
                        ("5:1:C5:trill-left", "C5 in bar 5, beat 1, and every second note of its "
                         "trill in the left hand"),
                        ("5:3/2:C5:pitch-Eb5", "C5 in bar 5, beat 1½, sounded as E♭5"),
                        ("3:2:pedal:pedal-F#", "pedal F♯ moved in bar 3, beat 2"),
                        ("3:2:pedal:pedal-F", "pedal F♮ moved in bar 3, beat 2")):
        assert Choice.parse(text).words == words


def test_bars_of_empty_music_have_no_spots():
    score, part = score_of(bars((note("C5", 16), low("C3", 16))), 60)
    assert spots(arrange(score, part, SETTINGS).draft, SETTINGS) == ()
    assert Pins().of("x").pitches == ()


def test_b_major_is_named_as_c_flat_major_first():
    # Berlioz 1855, "La harpe": for an orchestra in B the harp part is best written in C flat
    bar = (chord("B4 D#5 F#5 B5", 8) + chord("A#4 C#5 E5 F#5", 8),
           chord("B2 F#3 B3", 16, voice=5, staff=2))
    best, *_ = keys = key_table(*score_of(bars(bar, bar, fifths=5), 90), SETTINGS)
    assert (best.semitones, best.fifths, best.name, best.moves) == (
        0, -7, "C♭ major or A♭ minor", 0)
    assert [(k.fifths, k.moves) for k in keys if k.semitones == 0] == [(-7, 0), (5, 0)]
    assert best.resonance == 1.0
    assert "as it sounds" in told(keys)[0]
    assert "whole draft" in told(keys)[2]


def test_from_d_flat_major_to_b_major_the_flat_spelling_spares_pedals():
    # hornandharp.com, hints for composers: D flat to B major moves all seven pedals; to C flat two
    flat = "".join(note(n, 2) for n in ("Db5", "Eb5", "F5", "Gb5", "Ab5", "Bb5", "C6", "Ab5"))
    sharp = "".join(note(n, 2) for n in ("B4", "C#5", "D#5", "E5", "F#5", "G#5", "A#5", "B5"))
    seven = "".join(note(n, 2) for n in ("Cb5", "Db5", "Eb5", "Fb5", "Gb5", "Ab5", "Bb5", "Cb6"))
    moves = {}
    for name, second in (("B", sharp), ("Cb", seven)):
        score, part = score_of(bars((flat, low("r", 16)), (note("r", 16), low("r", 16)),
                                    (second, low("r", 16)), fifths=-5), 60)
        moves[name] = next(k.moves for k in key_table(score, part, SETTINGS)
                           if (k.semitones, k.fifths) == (0, -5))
    assert moves == {"B": 7, "Cb": 2}
