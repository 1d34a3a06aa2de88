from __future__ import annotations

import re
from itertools import combinations, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.checks.chords import conflict, playable_together, spelled_clashes
from arranger.model.harp import PEDALS, HarpString, PedalSetting, spellings
from arranger.model.pitch import Pitch
from arranger.plan.settings import (
    FIFTHS,
    QUALITIES,
    all_settings,
    chord_settings,
    from_alters,
    from_mei,
    glissando_settings,
    harmonic_minor_setting,
    key_setting,
    parse_lilypond,
    parse_smufl,
    pitch_class_mask,
    pitch_classes_of,
    to_lilypond,
    to_smufl,
)
from arranger.rulebook.harps import load_harp

SETTINGS = st.sampled_from([s for s, _ in all_settings()])
CLASSES = st.frozensets(st.integers(0, 11), min_size=1, max_size=7)


def possible(midis: list[int]) -> bool:
    """Slow twin: some choice of spellings has one alter a letter and no string twice."""
    return any(len({p.position for p in pitches}) == len(pitches)
               and len({p.step for p in pitches}) == len({(p.step, p.alter) for p in pitches})
               for pitches in product(*map(spellings, midis)))


# --- settings of chords and glissandi

@settings(max_examples=40)
@given(CLASSES, SETTINGS)
def test_chord_settings_are_all_and_nearest_first(classes: frozenset[int],
                                                  start: PedalSetting) -> None:
    found = chord_settings(classes, start)
    assert set(found) == {s for s, _ in all_settings() if classes <= s.pitch_classes}
    ranks = [(start.notches_to(s), -start.pedals_to(s), s) for s in found]
    assert ranks == sorted(ranks)


@settings(max_examples=40)
@given(CLASSES)
def test_glissando_settings_sound_exactly_these(classes: frozenset[int]) -> None:
    found = glissando_settings(classes)
    assert list(found) == sorted(s for s, _ in all_settings() if s.pitch_classes == classes)
    assert set(found) <= set(chord_settings(classes))


def test_start_that_serves_comes_first() -> None:
    start = key_setting(-3)
    assert chord_settings([3, 7, 10], start)[0] == start
    assert chord_settings([67, 68, 69]) == ()


def test_mask_takes_midi_numbers() -> None:
    assert pitch_class_mask([0, 60, 71]) == 0b1000_0000_0001


@pytest.mark.parametrize(("text", "classes"), [
    ("C E G", {0, 4, 7}), ("Bb3 D4 F4", {10, 2, 5}), ("C", {0, 4, 7}), ("Cdim7", {0, 3, 6, 9}),
    ("F♯m7b5", {6, 9, 0, 4}), ("E♭ G", {3, 7}), ("C, E, G#", {0, 4, 8}),
    ("Gpentatonic", {7, 9, 11, 2, 4}), ("C4-E4-G4", {0, 4, 7}), ("Bb", {10, 2, 5}),
])
def test_chords_and_notes_are_read(text: str, classes: set[int]) -> None:
    assert pitch_classes_of(text) == classes


@pytest.mark.parametrize("text", ["H7", "C E X", "", "Csus9", "c e g"])
def test_what_is_no_chord_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is neither notes such as 'C E G' nor a root with one of"):
        pitch_classes_of(text)


def test_qualities_are_distinct_notes_above_the_root() -> None:
    for steps in QUALITIES.values():
        assert steps[0] == 0
        assert list(steps) == sorted(set(steps))


# --- keys

def test_keys_outside_seven_are_refused() -> None:
    for fifths in (-8, 8):
        with pytest.raises(ValueError, match="at most seven sharps or flats"):
            key_setting(fifths)


@pytest.mark.parametrize("fifths", range(-7, 8))
def test_key_sounds_its_scale(fifths: int) -> None:
    tonic = 7 * fifths % 12
    assert key_setting(fifths).pitch_classes == {(tonic + s) % 12 for s in (0, 2, 4, 5, 7, 9, 11)}


@pytest.mark.parametrize("fifths", range(-7, 5))
def test_harmonic_minor_sounds_its_scale(fifths: int) -> None:
    tonic = (7 * fifths + 9) % 12
    sounding = harmonic_minor_setting(fifths).pitch_classes
    assert sounding == {(tonic + s) % 12 for s in (0, 2, 3, 5, 7, 8, 11)}


def test_leading_note_with_a_double_sharp_is_refused() -> None:
    with pytest.raises(ValueError, match="the leading note is F double sharp"):
        harmonic_minor_setting(5)


# --- other notations

@given(SETTINGS, st.frozensets(st.sampled_from(PEDALS)))
def test_notations_come_back(setting: PedalSetting, circled: frozenset[str]) -> None:
    assert parse_lilypond(to_lilypond(setting, circled)) == (setting, circled)
    assert parse_smufl(to_smufl(setting)) == setting
    alters = {step: setting.alter(step) for step in PEDALS}
    assert from_alters(alters) == setting
    assert from_mei({s.lower(): "fns"[a + 1] for s, a in alters.items()}) == setting
    assert PedalSetting.parse(str(setting)) == setting


@pytest.mark.parametrize("text", ["", "^v-vv-^", "^v|-vv-^", "^v-|vv-", "^v-|vv-^^", "^v-|vvx^",
                                  "^v-|vv-^o", "^v-|vo|-^", "ooo|^^^^"])
def test_wrong_lilypond_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="not a LilyPond pedal diagram: " + re.escape(repr(text))):
        parse_lilypond(text)


def test_wrong_smufl_mei_and_alters_are_refused() -> None:
    with pytest.raises(ValueError, match="not a SMuFL pedal diagram"):
        parse_smufl("\ue680" * 7)
    with pytest.raises(ValueError, match="harpPedal b='x' is not f, n or s"):
        from_mei({"b": "x"})
    assert from_mei({"xml:id": "p1", "b": "f"}) == PedalSetting.of({"B": -1})
    for wrong in ({"H": 0}, {"C": 2}, {"DC": 0}):
        with pytest.raises(ValueError, match="no pedal"):
            from_alters(wrong)


def test_order_of_sharps() -> None:
    assert FIFTHS == "FCGDAEB"


# --- chords plucked together

@given(st.lists(st.integers(24, 103), min_size=1, max_size=6))
def test_playable_together_agrees_with_brute_force(midis: list[int]) -> None:
    found = playable_together(midis)
    assert (found is not None) is possible(midis)
    if found is not None:
        assert [p.midi for p in found] == midis
        assert len({p.position for p in found}) == len(midis)
        assert spelled_clashes(found) == ()


@given(st.frozensets(st.integers(60, 71), min_size=1, max_size=7))
def test_one_octave_agrees_with_the_settings(midis: frozenset[int]) -> None:
    assert (playable_together(sorted(midis)) is not None) is bool(chord_settings(midis))


@given(st.lists(st.integers(60, 80), min_size=1, max_size=5), SETTINGS)
def test_assignment_is_the_nearest(midis: list[int], start: PedalSetting) -> None:
    found = playable_together(midis, start)
    if found is not None:
        notches = sum({p.step: abs(start.alter(p.step) - p.alter) for p in found}.values())
        distinct = len(set(midis)) == len(midis)
        nearest = start.notches_to(chord_settings(midis, start)[0])
        assert notches == nearest if distinct else notches >= nearest


@given(st.lists(st.integers(60, 72), min_size=1, max_size=7))
def test_conflict_is_minimal(midis: list[int]) -> None:
    core = conflict(midis)
    assert (core == ()) is possible(midis)
    if core:
        assert not possible(list(core))
        assert all(possible(list(rest)) for rest in combinations(core, len(core) - 1))


def test_fixed_strings_bind_no_letter() -> None:
    harp, low = load_harp("pedal-47"), HarpString.of(Pitch("C", 0, 1))
    chord = [23, 37, 38]  # C flat on the lowest string under C sharp and D
    assert playable_together(chord, harp=harp) is None
    tuned = playable_together(chord, harp=harp, fixed={low: -1})
    assert tuned == (Pitch("C", -1, 1), Pitch("C", 1, 2), Pitch("D", 0, 2))
    assert playable_together([24], harp=harp, fixed={low: -1}) is None


def test_compass_is_kept() -> None:
    harp = load_harp("pedal-40")
    assert playable_together([33], harp=harp) == (Pitch("A", 0, 1),)
    assert playable_together([32], harp=harp) == (Pitch("A", -1, 1),)
    assert playable_together([31], harp=harp) is None
    assert conflict([31, 60], harp=harp) == (31,)


def test_spelled_clashes_names_the_pairs() -> None:
    f, f_sharp, low = Pitch("F", 0, 3), Pitch("F", 1, 4), Pitch("A", 0, 3)
    assert spelled_clashes([low, f, f_sharp]) == ((f, f_sharp),)
    assert spelled_clashes([low, low]) == ((low, low),)
    assert spelled_clashes([Pitch("F", 0, 3), Pitch("F", 0, 4)]) == ()
