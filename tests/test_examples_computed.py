"""Counts and settings that can be computed, recomputed here by brute force.

``SOUNDING`` is built without the program: seven letters, three positions each. Where a published
source states the same, it is named beside the check.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from itertools import combinations, product

import pytest

from arranger.model.harp import Harp, HarpString, PedalSetting, spellings
from arranger.model.pitch import Pitch
from arranger.plan.settings import chord_settings, glissando_settings, key_setting, pitch_classes_of

NATURALS = {"D": 2, "C": 0, "B": 11, "E": 4, "F": 5, "G": 7, "A": 9}
SOUNDING = {alters: frozenset((n + a) % 12 for n, a in zip(NATURALS.values(), alters, strict=True))
            for alters in product((-1, 0, 1), repeat=7)}
ROOTS = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")


def brute_gliss(classes: Iterable[int]) -> list[tuple[int, ...]]:
    wanted = frozenset(classes)
    return [alters for alters, sounding in SOUNDING.items() if sounding == wanted]


def roots_of(quality: str) -> list[str]:
    """Roots on which the chord is a pure glissando; the program must agree with brute force."""
    found = []
    for root in ROOTS:
        classes = pitch_classes_of(root + quality)
        assert [s.alters for s in glissando_settings(classes)] == brute_gliss(classes)
        if brute_gliss(classes):
            found.append(root)
    return found


def has(chord: str, setting: str, count: int) -> bool:
    found = glissando_settings(pitch_classes_of(chord))
    return PedalSetting.parse(setting) in found and len(found) == count


def test_b1_number_of_settings_and_of_what_they_sound() -> None:
    sets = set(SOUNDING.values())
    assert (len(SOUNDING), len(sets)) == (2187, 977)
    assert Counter(map(len, sets)) == {4: 25, 5: 178, 6: 415, 7: 359}
    assert {PedalSetting(a).pitch_classes for a in SOUNDING} == sets  # type: ignore[arg-type]


def test_b2_homophones() -> None:
    # Sibelius Academy, Harp notation manual, "Tremolo": all notes of the chromatic scale have
    # two strings except D natural, G natural and A natural.
    ways = Counter((n + a) % 12 for n in NATURALS.values() for a in (-1, 0, 1))
    assert {pc for pc, count in ways.items() if count == 1} == {2, 7, 9}
    assert set(ways.values()) == {1, 2}
    assert all(len(spellings(midi)) == ways[midi % 12] for midi in range(24, 104))


@pytest.mark.parametrize(("size", "impossible", "total"), [
    (2, 0, 66), (3, 1, 220), (4, 13, 495), (5, 74, 792), (6, 233, 924), (7, 433, 792)])
def test_b3_chords_that_no_setting_gives(size: int, impossible: int, total: int) -> None:
    # Canton and Overlach, composingforharp.com, "pedals": G, G# and A cannot sound together.
    reached = {frozenset(part) for sounding in set(SOUNDING.values())
               for part in combinations(sorted(sounding), size)}
    missing = [c for c in combinations(range(12), size) if frozenset(c) not in reached]
    assert (len(missing), len(list(combinations(range(12), size)))) == (impossible, total)
    assert all(not chord_settings(chord) for chord in missing)
    assert sum(not chord_settings(c) for c in combinations(range(12), size)) == impossible
    if size == 3:
        assert missing == [(7, 8, 9)]


@pytest.mark.parametrize(("chord", "setting"), [
    # The first agrees with Berlioz, Grand traité (1855), "La harpe", after Parish Alvars.
    ("Cdim7", "D# C B# | Eb F# Gb A"),
    ("C#dim7", "Db C# Bb | E Fb G A#"),
    ("Ddim7", "D Cb B | E# F G# Ab")])
def test_b4_diminished_sevenths_have_one_setting_each(chord: str, setting: str) -> None:
    assert has(chord, setting, 1)


def test_b4_there_are_three_diminished_sevenths() -> None:
    assert roots_of("dim7") == list(ROOTS)
    assert len({pitch_classes_of(root + "dim7") for root in ROOTS}) == 3


def test_b5_dominant_sevenths() -> None:
    assert roots_of("7") == ["C#", "E", "F#", "G#", "B"]
    assert has("Db7", "Db Cb B | E# F G# Ab", 2)
    assert has("E7", "D Cb B | E Fb G# Ab", 1)
    assert has("Gb7", "Db C# Bb | E Fb Gb A#", 2)
    assert has("Ab7", "D# C B# | Eb F# Gb Ab", 2)
    assert has("B7", "D# Cb B | Eb F# Gb A", 1)


def test_b6_dominant_ninths() -> None:
    assert roots_of("9") == list(ROOTS)
    assert has("C9", "D C Bb | E Fb G A#", 2)
    assert has("G9", "D Cb B | E# F G A", 1)
    assert roots_of("7b9") == list(ROOTS)


def test_b7_half_diminished() -> None:
    assert roots_of("m7b5") == ["C", "D", "F", "G", "Bb"]
    assert has("Dm7b5", "D C B# | E# F G# Ab", 1)


def test_b8_minor_and_major_sevenths() -> None:
    assert roots_of("m7") == ["C#", "Eb", "F", "G#", "Bb"]
    assert roots_of("maj7") == ["C#", "E", "F#", "B"]


@pytest.mark.parametrize("quality", ["", "m", "aug"])
def test_b9_no_plain_triad(quality: str) -> None:
    assert roots_of(quality) == []


def test_b10_pentatonic() -> None:
    # C: forum answers, northernsounds thread 14936 and music.stackexchange 141075.
    assert roots_of("pentatonic") == list(ROOTS)
    assert has("Cpentatonic", "D C B# | E Fb G A", 1)
    assert has("Gpentatonic", "D Cb B | E Fb G A", 1)


def test_b11_whole_tone() -> None:
    assert roots_of("wholetone") == list(ROOTS)
    assert has("Cwholetone", "D C Bb | E Fb Gb Ab", 5)
    assert has("C#wholetone", "Db Cb B | Eb F G A", 4)


@pytest.mark.parametrize("quality", ["dim7", "7", "m7", "maj7", "m7b5", "9", "7b9"])
def test_b12_four_and_five_note_chords_can_be_plucked(quality: str) -> None:
    for root in ROOTS:
        classes = pitch_classes_of(root + quality)
        brute = [alters for alters, sounding in SOUNDING.items() if classes <= sounding]
        assert brute
        assert [s.alters for s in chord_settings(classes)] == brute


def test_b13_from_d_flat_major() -> None:
    d_flat, b, c_flat = key_setting(-5), key_setting(5), key_setting(-7)
    assert (d_flat.pedals_to(b), d_flat.notches_to(b)) == (7, 10)
    assert (d_flat.pedals_to(c_flat), d_flat.notches_to(c_flat)) == (2, 2)
    moved = {p for p in "DCBEFGA" if d_flat.alter(p) != c_flat.alter(p)}
    assert moved == {"C", "F"}


# A lever harp in E flat: each string stands at the pitch of E flat major, and its lever raises it
# by one semitone (LilyPond Notation Reference, "Harp pedals").
LEVER_OPEN = {"D": 2, "C": 0, "B": 10, "E": 3, "F": 5, "G": 7, "A": 8}


def levers_up(classes: Iterable[int]) -> Iterator[frozenset[str]]:
    """Letters whose levers are up, for every way to sound exactly these pitch classes."""
    for up in product((0, 1), repeat=7):
        sounding = {(n + u) % 12 for n, u in zip(LEVER_OPEN.values(), up, strict=True)}
        if sounding == set(classes):
            yield frozenset(letter for letter, u in zip(LEVER_OPEN, up, strict=True) if u)


@pytest.mark.parametrize(("key", "up"), [
    ("Eb", ""), ("Bb", "A"), ("F", "AE"), ("C", "AEB"), ("G", "AEBF"), ("D", "AEBFC"),
    ("A", "AEBFCG"), ("E", "AEBFCGD")])
def test_b14_levers_of_the_major_keys(key: str, up: str) -> None:
    tonic = Pitch.parse(f"{key}4").pitch_class
    scale = [(tonic + s) % 12 for s in (0, 2, 4, 5, 7, 9, 11)]
    assert list(levers_up(scale)) == [frozenset(up)]


@pytest.mark.parametrize("key", ["Ab", "Db", "F#", "B"])
def test_b14_keys_out_of_reach_of_the_levers(key: str) -> None:
    # tumblingowl (2014): A flat, D flat, F sharp and B major are out of reach in this tuning.
    tonic = Pitch.parse(f"{key}4").pitch_class
    assert not list(levers_up((tonic + s) % 12 for s in (0, 2, 4, 5, 7, 9, 11)))


def test_b15_homophones_of_the_levers() -> None:
    sounds = Counter((n + u) % 12 for n in LEVER_OPEN.values() for u in (0, 1))
    assert {pc for pc, count in sounds.items() if count > 1} == {3, 8}  # D# = Eb, G# = Ab


@pytest.mark.parametrize(("fifths", "setting"), [
    (-7, "Db Cb Bb | Eb Fb Gb Ab"), (-6, "Db Cb Bb | Eb F Gb Ab"), (-5, "Db C Bb | Eb F Gb Ab"),
    (-4, "Db C Bb | Eb F G Ab"), (-3, "D C Bb | Eb F G Ab"), (-2, "D C Bb | Eb F G A"),
    (-1, "D C Bb | E F G A"), (0, "D C B | E F G A"), (1, "D C B | E F# G A"),
    (2, "D C# B | E F# G A"), (3, "D C# B | E F# G# A"), (4, "D# C# B | E F# G# A"),
    (5, "D# C# B | E F# G# A#"), (6, "D# C# B | E# F# G# A#"), (7, "D# C# B# | E# F# G# A#")])
def test_b16_keys(fifths: int, setting: str) -> None:
    assert str(key_setting(fifths)) == setting


@pytest.mark.parametrize(("lowest", "highest", "count"), [("D1", "G7", 46), ("F1", "F7", 43)])
def test_b17_counts_of_strings(lowest: str, highest: str, count: int) -> None:
    # 46: Wikipedia, "Pedal harp"; 43: Méthode pratique d'orchestration symphonique, p. 41-42.
    low, high = (HarpString.of(Pitch.parse(name)) for name in (lowest, highest))
    assert len(Harp("", low, high).strings) == count
