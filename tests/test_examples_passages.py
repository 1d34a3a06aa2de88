"""Passages that stand in print, put through the whole arranger, each with its source.

Sources in short: Berlioz = Hector Berlioz, Grand traité d'instrumentation et d'orchestration
modernes, 2nd ed., Paris 1855, "La harpe" (scan page of fr.wikisource); HNM = Sibelius Academy,
Harp notation manual, Helsinki; OOL = Orchestration Online, 100 Orchestration Tips,
part 4; Horn and Harp = hornandharp.com, hints for composers; Wikipedia = "Pedal harp".
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from lxml import etree

from arranger.checks.playable import findings
from arranger.io.harp_part import as_harp_part
from arranger.io.musicxml_read import read
from arranger.model.diagnostic import Diagnostic
from arranger.model.draft import Draft
from arranger.model.harp import HarpString, PedalSetting
from arranger.passes.notice import notices
from arranger.passes.pipeline import arrange
from arranger.passes.settings import Settings
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player
from arranger.rulebook.prices import load_prices
from tests.handwritten import attributes, backup, chord, note, part, piano, score

SETTINGS = Settings(load_harp("pedal-47"), load_player("average"), load_prices())
QUAVER, SEMIQUAVER, CROTCHET, SEMIBREVE = 2, 1, 4, 16


def arranged(root: etree._Element, bpm: int) -> Draft:
    """Draft at ``bpm`` crotchets a minute, which any player must be able to play."""
    made = as_harp_part(root, ("P1",))
    found = read(made.root).score
    result = arrange(replace(found, tempo=found.tempo.scaled(Fraction(bpm))), made.part_id,
                     SETTINGS)
    assert result.settled
    assert findings(result.draft, SETTINGS.harp, SETTINGS.player) == ()
    return result.draft


def warned(draft: Draft) -> tuple[Diagnostic, ...]:
    return tuple(n for n in notices(draft, (), SETTINGS) if n.severity == "warning")


def line(names: str, length: int, fifths: int = 0) -> etree._Element:
    """One voice in 4/4."""
    every, notes = 16 // length, names.split()
    return piano(*("".join(note(n, length) for n in notes[i:i + every])
                   for i in range(0, len(notes), every)), fifths=fifths)


def chords(*names: str, fifths: int = 0) -> etree._Element:
    """Chords of a crotchet in 4/4, the last a semibreve."""
    *short, last = names
    bars = ["".join(chord(c, CROTCHET) for c in short[i:i + 4]) for i in range(0, len(short), 4)]
    return piano(*bars, chord(last, SEMIBREVE), fifths=fifths)


def bass(*names: str) -> etree._Element:
    """One bass note a bar."""
    return piano(*(note("r", SEMIBREVE) + backup(16) + note(n, SEMIBREVE, staff=2, voice=2)
                   for n in names))


def played(draft: Draft) -> list[str]:
    """Strings plucked, in order, as they are spelled."""
    return [str(n.string) + {-1: "b", 0: "", 1: "#"}[n.pitch.alter] for n in draft.notes]


def sounds(draft: Draft) -> list[int]:
    return [n.pitch.midi for n in draft.notes]


def written(draft: Draft) -> list[int]:
    return [n.midi for n in draft.source.part_notes(draft.part)]


def rules(draft: Draft) -> set[str]:
    """Rules for which a sound was changed."""
    return {e.rule for e in draft.ledger.entries if e.fidelity == "other-sound"}


# --- chromatic passages

CHROMATIC = ("Eb3 E3 F3 F#3 G3 Ab3 A3 Bb3 B3 C4 C#4 D4 Eb4 E4 F4 F#4 G4 Ab4 A4 Bb4 B4 C5 C#5 D5 "
             "Eb5")


def test_a1_slow_chromatic_scale_keeps_every_note() -> None:
    """Berlioz, 83: chromatic scales cannot be played "unless excessively slow"."""
    draft = arranged(line(CHROMATIC, QUAVER, -3), 20)
    assert sounds(draft) == written(draft) == list(range(51, 76))
    assert [w for w in warned(draft) if w.code == "P3"] == []


@pytest.mark.parametrize("bpm", [132, 160, 200])
def test_a1_quick_chromatic_scale_is_a_race_of_pedals(bpm: int) -> None:
    """Berlioz, 84: five pedals in the first octave, very quickly, one after the other.

    The double action needs as many; if the notes are kept, the player is warned: of quick feet, or
    of semitones that move the pedals all the way.
    """
    draft = arranged(line(CHROMATIC, QUAVER, -3), bpm)
    if sounds(draft) == written(draft):
        assert len(draft.plan.moves) >= 10, "five for each octave"
    assert [w for w in warned(draft) if w.code in ("P1", "P3", "P5", "T4")]


@pytest.mark.parametrize("bpm", [280, 320])
def test_a1_fastest_chromatic_scale_loses_notes(bpm: int) -> None:
    """Berlioz, 83-84: impracticable."""
    draft = arranged(line(CHROMATIC, QUAVER, -3), bpm)
    assert len(draft.notes) < 25
    assert rules(draft) <= {"P1", "P3"}
    assert [w for w in warned(draft) if w.code == "T4"]


def run(names: str) -> str:
    """Semiquavers."""
    return "".join(note(n, SEMIQUAVER) for n in names.split())


def berlioz(bar: str) -> etree._Element:
    """Berlioz's allegretto in 3/8 around one bar of it."""
    start = attributes(fifths=3, beats=3).replace("<beat-type>4", "<beat-type>8")
    return score(part(start + note("r", CROTCHET) + run("C#5 B4"), run("A4 G#4 A4 B4 C#5 D5"), bar,
                      run("A5 G#5 A5 C#6 B5 A5"), note("G#5", QUAVER) + note("F#5", CROTCHET)))


IMPOSSIBLE = berlioz(run("E5 D#5 E5 E#5 F#5 G#5"))
CORRECTED = berlioz(note("E5", 3) + run("C#5 A5 G#5"))
A_MAJOR = PedalSetting.parse("D C# B | E F# G# A")


@pytest.mark.parametrize("bpm", [54, 66])
def test_a2_chromatic_bar_moves_d_and_e(bpm: int) -> None:
    """Berlioz, 85: the bar asks for the D and the E pedal within it."""
    draft = arranged(IMPOSSIBLE, bpm)
    assert draft.plan.opening == A_MAJOR
    assert sounds(draft) == written(draft)
    assert [(m.pedal, m.after) for m in draft.plan.moves] == [("D", 1), ("E", 1)]
    bar = draft.source.measures[2]
    (e_move,) = [m for m in draft.plan.moves if m.pedal == "E"]
    assert bar.onset + 1 - Fraction(1, 2) < e_move.onset < bar.onset + bar.duration


def test_a2_at_a_gallop_gives_up_altered_notes() -> None:
    """Berlioz, 85: "impossible or only dangerous"; here the altered notes alone go."""
    draft = arranged(IMPOSSIBLE, 200)
    lost = sorted(set(written(draft)) - set(sounds(draft)))
    assert lost
    assert set(lost) <= {75, 77}, "D sharp or E sharp"
    assert rules(draft) <= {"P1", "P3"}


def test_a2_danger_is_told() -> None:
    """Berlioz, 85: "impossible or only dangerous": whoever keeps the notes says so."""
    draft = arranged(IMPOSSIBLE, 66)
    bar = draft.source.measures[2]
    assert sounds(draft) == written(draft)
    assert [w for w in warned(draft) if bar.onset <= w.where.onset < bar.onset + bar.duration]


@pytest.mark.parametrize("bpm", [54, 66, 120])
def test_a3_his_correction_needs_nothing(bpm: int) -> None:
    """Berlioz, 85: "the author ought to have written it in the following way"."""
    draft = arranged(CORRECTED, bpm)
    assert draft.plan.opening == A_MAJOR
    assert draft.plan.moves == ()
    assert draft.ledger.entries == ()
    assert sounds(draft) == written(draft)


# --- synonyms and repeated notes

def test_a5_synonyms_make_a_chord_playable() -> None:
    """Berlioz, 86: D double flat, F flat, A double flat, C flat have other strings."""
    draft = arranged(piano(chord("Dbb4 Fb4 Abb4 Cb5", SEMIBREVE)), 60)
    assert sounds(draft) == [60, 64, 67, 71]
    assert draft.plan.moves == ()
    assert all(abs(n.pitch.alter) <= 1 for n in draft.notes)
    assert {e.kind for e in draft.ledger.entries} <= {"respell"}


@pytest.mark.parametrize("bpm", [60, 120, 240])
def test_a9_two_strings_take_turns(bpm: int) -> None:
    """Berlioz, 88: B flat and A sharp in turn, easy and well sounding."""
    draft = arranged(line("Bb4 A#4 " * 16, SEMIQUAVER, -3), bpm)
    assert draft.plan.opening == PedalSetting.parse("D C Bb | Eb F G A#")
    assert draft.plan.moves == ()
    assert played(draft) == ["B4b", "A4#"] * 16
    assert draft.ledger.entries == ()


def test_a8_one_string_at_leisure() -> None:
    """Berlioz, 88: a repeated B flat; slowly there is nothing against it."""
    draft = arranged(line("Bb4 " * 16, QUAVER, -3), 60)
    assert played(draft) == ["B4b"] * 16
    assert warned(draft) == ()


def test_a8_one_string_quickly_is_warned_of() -> None:
    """Berlioz, 88: on one string a quick repetition grates and breaks the vibration."""
    draft = arranged(line("Bb4 " * 16, QUAVER, -3), 200)  # 0.15 s: can be done, but badly
    on_one_string = set(played(draft)) == {"B4b"} and len(draft.notes) == 16
    assert not on_one_string or [w for w in warned(draft) if w.code == "R1"]


def test_a8_becomes_a9_when_one_string_is_too_slow() -> None:
    """Berlioz, 88: what one string cannot repeat, two in unison can; no note need go."""
    draft = arranged(line("Bb4 " * 32, SEMIQUAVER, -3), 200)
    assert sounds(draft) == written(draft)
    assert set(played(draft)) == {"B4b", "A4#"}


@pytest.mark.parametrize("name", ["D4", "G4", "A4"])
def test_a31_three_pitches_have_one_string(name: str) -> None:
    """HNM, tremolo: D, G and A natural have no second string; below the limit notes go."""
    slow, fast = (arranged(line(f"{name} " * 32, SEMIQUAVER), bpm) for bpm in (120, 200))
    assert len(SETTINGS.harp.spellings(slow.notes[0].pitch.midi)) == 1
    assert sounds(slow) == written(slow)
    assert slow.ledger.entries == ()
    assert played(fast) == [name] * 16, "0.075 s apart: every second one stays"
    assert rules(fast) == {"R1"}
    assert {e.kind for e in fast.ledger.entries} == {"drop"}
    assert {n.onset % Fraction(1, 2) for n in fast.notes[:-1]} == {Fraction(0)}, "on the beat"


# --- keys

B_MAJOR_PART = ("Eb5 Gb5 Cb6 Eb6", "Fb5 Gb5 Bb5 Db6", "Eb5 Gb5 Cb6", "Db5 Fb5 Gb5 Bb5",
                "Cb5 Eb5 Gb5 Cb6")


def test_a14_b_major_in_c_flat() -> None:
    """Berlioz, 86: a part in B major is incomparably better written in C flat."""
    draft = arranged(chords(*B_MAJOR_PART, fifths=-7), 120)
    assert draft.plan.opening == PedalSetting.parse("Db Cb Bb | Eb Fb Gb Ab")
    assert draft.plan.moves == ()
    assert draft.ledger.entries == ()
    assert sounds(draft) == written(draft)
    for onset in {n.onset for n in draft.notes}:
        struck = [n.string.position for n in draft.notes if n.onset == onset]
        assert len(struck) <= 4
        assert max(struck) - min(struck) <= 7, "within the octave"


D_FLAT_SCALE = "Db4 Eb4 F4 Gb4 Ab4 Bb4 C5 Db5 "


@pytest.mark.parametrize("second", ["B4 C#5 D#5 E5 F#5 G#5 A#5 B5",
                                    "Cb5 Db5 Eb5 Fb5 Gb5 Ab5 Bb5 Cb6"])
@pytest.mark.parametrize("bpm", [60, 120])
def test_a34_d_flat_to_b_goes_by_c_flat(second: str, bpm: int) -> None:
    """Horn and Harp, hint 1: to B major seven pedals move, to C flat major two: C and F."""
    draft = arranged(line(D_FLAT_SCALE + second, QUAVER, -5), bpm)
    assert sounds(draft) == written(draft)
    assert rules(draft) == set()
    assert draft.plan.opening == PedalSetting.parse("Db C Bb | Eb F Gb Ab")
    assert sorted((m.pedal, m.after) for m in draft.plan.moves) == [("C", -1), ("F", -1)]


@pytest.mark.parametrize("other", ["C#4 E#4 G#4", "Db4 F4 Ab4"])
@pytest.mark.parametrize("bpm", [60, 120, 200])
def test_a35_a36_alternating_triads_need_no_pedal(other: str, bpm: int) -> None:
    """Horn and Harp, hint 3: as C sharp three pedals at each chord; as D flat other strings."""
    draft = arranged(chords("C4 E4 G4", other, "C4 E4 G4", other, "C4 E4 G4"), bpm)
    assert sounds(draft) == written(draft)
    assert draft.plan.moves == ()
    assert played(draft) == ["C4", "E4", "G4", "D4b", "F4", "A4b"] * 2 + ["C4", "E4", "G4"]
    assert {e.kind for e in draft.ledger.entries} == ({"respell"} if "#" in other else set())


# --- strings without pedals

def test_a32_low_c_has_one_tuning() -> None:
    """OOL, tip 65: "a low Cb in one movement", then a low C#: both cannot be had."""
    draft = arranged(bass("Cb1", "C#1"), 60)
    assert draft.plan.fixed[HarpString(7)] in (-1, 1), "C1 is tuned for one of the two"
    assert len(draft.notes) == 2
    assert sum(n.pitch.midi in (23, 25) for n in draft.notes) == 1, "the other is moved"
    (entry,) = draft.ledger.entries
    assert entry.kind == "octave"
    assert entry.rule in ("C1", "C2")


def test_a33_no_pedal_reaches_the_lowest_strings() -> None:
    """Wikipedia, "Pedal harp": the pedals have no effect on C1 and D1."""
    draft = arranged(bass("C1", "C#1", "D1", "Db1", "C1", "D1"), 60)
    assert {str(s): draft.plan.fixed[s] for s in draft.plan.fixed} == {"C1": 0, "D1": 0, "G7": 0}
    low = [n for n in draft.notes if n.string in SETTINGS.harp.fixed]
    assert {n.pitch.alter for n in low} == {0}
    assert [n.midi % 12 for n in draft.source.part_notes(draft.part)] == [
        n.pitch.midi % 12 for n in draft.notes], "C sharp and D flat sound an octave higher"
    assert len(low) == 4
    assert rules(draft) <= {"C1", "C2"}


def test_a33_fixed_strings_do_not_turn_with_the_pedal() -> None:
    """As above: C sharp elsewhere must leave C1 a natural, which is no change of the part."""
    root = piano(chord("C#4 E4 A4", SEMIBREVE) + backup(16)
                 + note("C1", SEMIBREVE, staff=2, voice=2))
    draft = arranged(root, 60)
    assert sounds(draft) == written(draft)
    assert draft.ledger.entries == ()
    assert draft.plan.opening.alter("C") == 1
