"""Examples that stand in print, each with its source.

Sources named in short: Berlioz = Hector Berlioz, Grand traité d'instrumentation et
d'orchestration modernes (2nd ed., Paris 1855), "La harpe"; LilyPond = LilyPond Notation Reference,
"Harp pedals"; MusicXML = MusicXML 4.0, example page of ``harp-pedals``; MEI = MEI guidelines,
``harpPedal``; SMuFL = SMuFL metadata, harp techniques; Canton and Overlach = composingforharp.com,
"pedals"; OOL = Orchestration Online, 100 Orchestration Tips, part 4; HNM = Sibelius Academy,
Harp notation manual.
"""

from __future__ import annotations

import pytest

from arranger.checks.chords import conflict, playable_together, spelled_clashes
from arranger.model.harp import Harp, HarpString, PedalSetting, spellings
from arranger.model.pitch import Pitch
from arranger.plan.settings import (
    FIFTHS,
    chord_settings,
    from_alters,
    from_mei,
    glissando_settings,
    harmonic_minor_setting,
    key_setting,
    parse_lilypond,
    parse_smufl,
    pitch_classes_of,
    to_lilypond,
    to_smufl,
)
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player

E_FLAT, A_MAJOR, C_FLAT = key_setting(-3), key_setting(3), key_setting(-7)


def pitches(text: str) -> list[Pitch]:
    return [Pitch.parse(name) for name in text.split()]


def setting(text: str) -> PedalSetting:
    return PedalSetting.parse(text)


def stands(at: PedalSetting, notes: list[Pitch]) -> bool:
    """Tell whether every note, as it is spelled, sounds without a pedal moved."""
    return all(at.alter(p.step) == p.alter for p in notes)


def letters_that_change(notes: list[Pitch], start: PedalSetting) -> set[str]:
    return {p.step for p in notes if p.alter != start.alter(p.step)}


# --- chromatic passages and chords

def test_a1_chromatic_octave_presses_five_pedals() -> None:
    """Berlioz, scan page 84: five pedals for the first octave of a chromatic scale."""
    scale = pitches("Eb3 E3 F3 F#3 G3 Ab3 A3 Bb3 B3 C4 C#4 D4 Eb4")
    assert [p.midi for p in scale] == list(range(51, 64))
    assert letters_that_change(scale, E_FLAT) == set("EFABC")
    for step in "EFABC":  # pressed, and released by the octave above
        assert {p.alter for p in scale if p.step == step} == {
            E_FLAT.alter(step), E_FLAT.alter(step) + 1}


def test_a2_bar_that_moves_two_pedals_at_once() -> None:
    """Berlioz, scan page 85, a bar that is impossible or only dangerous as written."""
    bar = pitches("E5 D#5 E5 E#5 F#5 G#5")
    assert letters_that_change(bar, A_MAJOR) == {"D", "E"}
    assert {p.alter for p in bar if p.step == "E"} == {0, 1}, "E moves inside the bar"
    rest = pitches("C#5 B4 A4 G#4 A4 B4 C#5 D5 A5 G#5 A5 C#6 B5 A5 G#5 F#5")
    assert stands(A_MAJOR, rest)


def test_a3_berlioz_own_correction_needs_no_pedal() -> None:
    """Berlioz, scan page 85: altered notes replaced by notes of the harmony."""
    corrected = pitches("C#5 B4 A4 G#4 A4 B4 C#5 D5 E5 C#5 A5 G#5 A5 G#5 A5 C#6 B5 A5 G#5 F#5")
    assert setting("D C# B | E F# G# A") == A_MAJOR
    assert stands(A_MAJOR, corrected)


def test_a4_f_and_f_sharp_clash_and_the_f_is_dropped() -> None:
    """Berlioz, scan page 85: take the F natural out of the left-hand chord."""
    left, right = pitches("F3 A3 C4"), pitches("F#4 A4")
    assert spelled_clashes([*left, *right]) == ((left[0], right[0]),)
    assert spelled_clashes([*left[1:], *right]) == ()


def test_a5_synonyms_make_a_chord_playable() -> None:
    """Berlioz, scan page 86: from C flat, the chord C E G B with F flat as E."""
    written = pitches("Dbb4 Fb4 Abb4 Cb5")
    midis = [p.midi for p in written]
    assert midis == [p.midi for p in pitches("C4 E4 G4 B4")]
    found = playable_together(midis, C_FLAT)
    assert found == tuple(pitches("C4 Fb4 G4 B4"))
    assert sum(abs(C_FLAT.alter(p.step) - p.alter) for p in found) == 3, "C, G and B, a notch each"
    wanted = setting("Db C B | Eb Fb G Ab")
    assert chord_settings(midis, C_FLAT)[0] == wanted
    for step in "DEA":  # whatever these three stand at
        for alter in (-1, 0, 1):
            assert wanted.with_pedal(step, alter) in chord_settings(midis)


@pytest.mark.parametrize("pair", ["Cb5 B4", "Eb5 D#5"])
def test_a6_a7_unison_on_two_strings(pair: str) -> None:
    """Berlioz, scan page 90: two strings tuned to one pitch."""
    one, two = pitches(pair)
    assert one.midi == two.midi
    found = playable_together([one.midi, two.midi])
    assert found is not None
    assert set(found) == {one, two}


def test_a9_repeated_b_flat_on_two_strings() -> None:
    """Berlioz, scan page 88: B flat and A sharp in turns, easy and well sounding."""
    assert stands(setting("D C Bb | Eb F G A#"), pitches("Bb4 A#4 Bb4 A#4"))


def test_a12_passage_of_parish_alvars_is_one_glide() -> None:
    """Berlioz, scan page 90: one finger slid down the strings; the setting is deduced."""
    at = setting("D# C B# | Eb F# Gb A")
    top, bottom = HarpString.of(Pitch("B", 0, 5)), HarpString.of(Pitch("A", 0, 3))
    strings = [HarpString(p) for p in range(top.position, bottom.position - 1, -1)]
    glide = [s.pitch(at.alter(s.step)).midi for s in strings]
    line = pitches("C6 A5 Gb5 Gb5 Eb5 Eb5 C5 C5 A4 Gb4 Gb4 Eb4 Eb4 C4 C4 A3")
    assert glide == [p.midi for p in line]


def test_a14_b_major_written_in_c_flat() -> None:
    """Berlioz, scan page 86: an orchestra in B, the harp in C flat, no pedal moves."""
    chords = [pitches(c) for c in (
        "Eb5 Gb5 Cb6 Eb6", "Fb5 Gb5 Bb5 Db6", "Eb5 Gb5 Cb6", "Db5 Fb5 Gb5 Bb5", "Cb5 Eb5 Gb5 Cb6")]
    assert setting("Db Cb Bb | Eb Fb Gb Ab") == C_FLAT
    player = load_player("average")
    for chord in chords:
        assert stands(C_FLAT, chord)
        assert spelled_clashes(chord) == ()
        assert len(chord) <= player.fingers_per_hand
        assert chord[-1].position - chord[0].position <= player.comfortable_span_steps
    b_major = key_setting(5)
    assert b_major.pitch_classes == C_FLAT.pitch_classes


def test_a16_old_compass() -> None:
    """Berlioz, scan page 83: the harp in E flat from F1 to D7 (the count is computed)."""
    low, high = (HarpString.of(p) for p in pitches("F1 D7"))
    assert len(Harp("", low, high).strings) == 41


# --- notations

def test_a18_a19_lilypond() -> None:
    """LilyPond, the string of the manual and its change of one pedal, circled."""
    before, none = parse_lilypond("^v-|vv-^")
    assert (str(before), none) == ("Db C# B | E# F# G Ab", frozenset())
    after, circled = parse_lilypond("^o--|vv-^")
    assert (after, circled) == (before.with_pedal("C", 0), {"C"})
    assert to_lilypond(after, circled) == "^o--|vv-^"


def test_a20_musicxml() -> None:
    """MusicXML, the example of harp-pedals; that it is a diminished seventh is computed."""
    found = from_alters({"D": -1, "C": 1, "B": -1, "E": 0, "F": -1, "G": 0, "A": 1})
    assert str(found) == "Db C# Bb | E Fb G A#"
    assert found.pitch_classes == pitch_classes_of("C# E G Bb") == pitch_classes_of("C#dim7")


def test_a21_mei() -> None:
    """MEI, sample 155 of the common music notation module: what is not named is natural."""
    assert str(from_mei({"c": "s", "b": "f", "e": "f"})) == "D C# Bb | Eb F G A"


def test_a22_a_major() -> None:
    """inmusica.fr, page on orchestration."""
    assert str(key_setting(3)) == "D C# B | E F# G# A"


def test_a23_g_harmonic_minor() -> None:
    """Amy Balcomb, course notes (2016)."""
    assert str(harmonic_minor_setting(-2)) == "D C Bb | Eb F# G A"


def test_a24_smufl() -> None:
    """SMuFL: the code points U+E680 to U+E683, here put together for the setting of A21."""
    text = "".join(map(chr, (0xE681, 0xE682, 0xE680, 0xE683, 0xE680, 0xE681, 0xE681, 0xE681)))
    assert str(parse_smufl(text)) == "D C# Bb | Eb F G A"
    assert to_smufl(from_mei({"c": "s", "b": "f", "e": "f"})) == text


def test_a25_pedals_pressed_in_the_order_of_keys() -> None:
    """Gehrkens, Music Notation and Terminology (1914), App. B par. 28; Grove, "Harp"."""
    at = C_FLAT
    for count, step in enumerate(FIFTHS + FIFTHS, start=1):
        at = at.with_pedal(step, at.alter(step) + 1)
        assert at == key_setting(count - 7)


# --- notes at one moment

@pytest.mark.parametrize(("written", "spelled"), [
    ("C4 C#4 D4", "B#3 C#4 D4"),  # A26, Canton and Overlach
    ("F4 F#4", "E#4 F#4"),        # A28, Canton and Overlach
    ("F4 F#4", "F4 Gb4"),
    ("C4 C#4", "C4 Db4"),         # A29, Canton and Overlach; youngcomposers wiki
    ("C4 C#4", "B#3 Db4")])
def test_a26_a28_a29_reject_as_spelled_accept_on_other_strings(written: str, spelled: str) -> None:
    assert spelled_clashes(pitches(written)) != ()
    assert spelled_clashes(pitches(spelled)) == ()
    midis = [p.midi for p in pitches(written)]
    assert [p.midi for p in pitches(spelled)] == midis
    assert playable_together(midis) is not None
    assert conflict(midis) == ()


def test_a26_cluster_has_one_spelling_of_its_lowest_note() -> None:
    """Canton and Overlach: C, C sharp and D are B sharp, C sharp, D."""
    found = playable_together([60, 61, 62])
    assert found == tuple(pitches("B#3 C#4 D4"))


def test_a27_the_only_impossible_trichord() -> None:
    """Canton and Overlach: G, G sharp and A cannot be played at the same time."""
    for octaves in (0, 12):
        midis = [67, 68 + octaves, 69]
        assert playable_together(midis) is None
        assert conflict([60, *midis, 76]) == tuple(midis)


def test_a30_tremolo_of_both_hands_on_unison_strings() -> None:
    """OOL, "Stomping": D sharp and F sharp against E flat and G flat."""
    right, left = pitches("D#4 F#4"), pitches("Eb4 Gb4")
    assert [p.midi for p in right] == [p.midi for p in left]
    assert spelled_clashes([*right, *left]) == ()
    found = playable_together([p.midi for p in [*right, *left]])
    assert found is not None
    assert set(found) == {*right, *left}


@pytest.mark.parametrize("name", ["D4", "G4", "A4"])
def test_a31_no_second_string_for_d_g_and_a(name: str) -> None:
    """HNM, "Tremolo": D, G and A natural have no unison string."""
    midi = Pitch.parse(name).midi
    assert spellings(midi) == (Pitch.parse(name),)
    assert playable_together([midi, midi]) is None
    assert conflict([midi, midi]) == (midi, midi)


# --- respelling

def test_a34_d_flat_to_b_is_better_as_c_flat() -> None:
    """hornandharp.com, hint 1; the counts are computed."""
    d_flat, b = setting("Db C Bb | Eb F Gb Ab"), setting("D# C# B | E F# G# A#")
    assert (d_flat.pedals_to(b), d_flat.notches_to(b)) == (7, 10)
    assert (d_flat.pedals_to(C_FLAT), d_flat.notches_to(C_FLAT)) == (2, 2)
    assert glissando_settings(b.pitch_classes, d_flat)[0] == C_FLAT


def test_a35_a36_triads_a_semitone_apart() -> None:
    """hornandharp.com, hint 3; that one setting serves both as respelled is computed."""
    c, c_sharp, d_flat = pitches("C4 E4 G4"), pitches("C#4 E#4 G#4"), pitches("Db4 F4 Ab4")
    assert letters_that_change(c_sharp, PedalSetting()) == {"C", "E", "G"}
    both = setting("Db C B | E F G Ab")
    assert stands(both, [*c, *d_flat])
    midis = [p.midi for p in [*c, *c_sharp]]
    assert chord_settings(midis, PedalSetting())[0] == both


# --- glissandi

def test_a40_a41_a43_which_pentatonic_it_is() -> None:
    """northernsounds thread 14936; music.stackexchange 141075. A blog's claim that the second is
    C pentatonic is wrong: it is F pentatonic (anabel.icu)."""
    c, f = setting("D C B# | E Fb G A"), setting("D C B# | E# F G A")
    assert c.pitch_classes == pitch_classes_of("C D E G A") == pitch_classes_of("C69")
    assert f.pitch_classes == pitch_classes_of("F G A C D") == pitch_classes_of("Fpentatonic")
    assert c in glissando_settings(pitch_classes_of("Cpentatonic"))
    assert f not in glissando_settings(pitch_classes_of("Cpentatonic"))


def test_a42_c_flat_with_f_sharp() -> None:
    """net.music, 12 October 1983: G flat major without its leading note."""
    found = C_FLAT.with_pedal("F", 1)
    g_flat = key_setting(-6).pitch_classes
    assert found.pitch_classes == pitch_classes_of("Cb Db Eb F# Gb Ab Bb")
    assert g_flat - found.pitch_classes == {Pitch("F", 0, 4).pitch_class}
    assert found.pitch_classes < g_flat


# --- numbering

def test_a58_names_of_strings() -> None:
    """Morley, "Compass explained"."""
    names = [HarpString.of(p).number for p in pitches("C4 D4 E4 F4 G4 A4 B4 C5")]
    assert names == ["4C", "4D", "4E", "3F", "3G", "3A", "3B", "3C"]


def test_a59_extremes() -> None:
    """Morley, "Compass explained"; Moss Harp Service, "How harp strings are numbered"."""
    names = [HarpString.of(p).number for p in pitches("C1 E7 F7 G7")]
    assert names == ["7C", "1E", "0F", "0G"]


def test_a60_strings_and_pitches() -> None:
    """Charles-Marie Widor, Initiation musicale: 47 strings, 141 pitches."""
    harp = load_harp("pedal-47")
    assert len(harp.strings) == 47
    assert len([s.pitch(alter) for s in harp.strings for alter in (-1, 0, 1)]) == 141


def test_a61_wire_strings() -> None:
    """HNM, strings; harpinsideout.com (newer text): the lowest twelve are wire."""
    harp = load_harp("pedal-47")
    wire = [str(s) for s in harp.strings if s <= harp.wire_top]
    assert wire == ["C1", "D1", "E1", "F1", "G1", "A1", "B1", "C2", "D2", "E2", "F2", "G2"]


def test_strings_without_discs() -> None:
    """Canton and Overlach: the lowest C and D, and usually the top G."""
    assert {str(s) for s in load_harp("pedal-47").fixed} == {"C1", "D1", "G7"}
