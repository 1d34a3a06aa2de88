"""Textures are recognised, their versions are sound, and what plays stays as it is.

Scenes in a shorthand: attacks of a staff apart by spaces, notes of a chord joined by ``+``, ``.``
for silence. Sources: Berlioz = Grand traité d'instrumentation (1855), "La harpe"; HNM = Sibelius
Academy, Harp notation manual; Kuntz = Danielle Kuntz, harpist, post 990.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.checks.account import faults
from arranger.model.draft import Draft
from arranger.model.errors import RuleError
from arranger.model.ledger import Drop, GiveToHand, Respell
from arranger.model.pins import Pin, Pins
from arranger.model.pitch import Pitch
from arranger.model.score import Measure, Note, Part, Score, TempoMap, TempoMark
from arranger.passes.hands import give_hands
from arranger.passes.settings import Settings
from arranger.passes.start import as_source, start
from arranger.passes.strings import give_strings
from arranger.passes.textures import improve
from arranger.plan.roles import roles
from arranger.plan.textures import textures
from arranger.plan.versions import Field, Version, apply, versions
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player
from arranger.rulebook.prices import load_prices
from arranger.rulebook.textures import load_texture_numbers

SETTINGS = Settings(load_harp("pedal-47"), load_player("average"), load_prices())
NUMBERS = load_texture_numbers()


def scene(upper: str, lower: str = "", each: Fraction = Fraction(1, 4), bpm: int = 120,
          marks: str = "") -> Draft:
    """Draft of two staves; each attack lasts ``each`` quarter notes, ``~n`` n times as long."""
    notes: list[Note] = []
    for staff, line in ((1, upper), (2, lower)):
        place = 0
        for at, attack in enumerate(line.split()):
            names, _, times = attack.partition("~")
            notes += [Note(f"{staff}.{at}.{name}", "P1", int(place * each / 4), place * each,
                           each * int(times or 1), Pitch.parse(name), staff,
                           marks=frozenset(marks.split()), chord=2 * at + staff - 1)
                      for name in names.split("+") if name != "."]
            place += int(times or 1)
    end = int(max(n.end for n in notes) / 4) + 1
    bars = tuple(Measure(i, str(i + 1), Fraction(4 * i), Fraction(4)) for i in range(end))
    ordered = tuple(sorted(notes, key=lambda n: (n.onset, n.midi)))
    return start(Score("", (Part("P1", "Piano", 2),), bars, ordered, TempoMap(
        (TempoMark(Fraction(0), Fraction(bpm)),)), tuple(range(end))), "P1")


def kinds(draft: Draft) -> set[str]:
    return {t.kind for t in textures(draft, NUMBERS, SETTINGS.player.span_steps)}


def offers(draft: Draft, kind: str) -> dict[str, Version]:
    texture = next(t for t in textures(draft, NUMBERS, 9) if t.kind == kind)
    field = Field(draft.notes, roles(draft.notes), SETTINGS.harp, SETTINGS.prices)
    return {v.title: v for v in versions(texture, field)}


def spelled(draft: Draft) -> list[str]:
    return [n.pitch.name for n in draft.notes]


RECOGNISED = [
    ("repeated note", "Bb4 Bb4 Bb4 Bb4", ""),
    ("repeated chord", "C4+E4+G4 C4+E4+G4 C4+E4+G4", ""),
    ("trill", "C5 D5 C5 D5 C5 D5", ""),
    ("tremolo", "C5+E5 G5 C5+E5 G5 C5+E5 G5", ""),
    ("octaves", "", "C2+C3 D2+D3 E2+E3"),
    ("alberti", "", "C3 G3 E3 G3 D3 G3 F3 G3"),
    ("broken chord", "", "C3 E3 G3 C4 G3 E3 C3"),
    ("arpeggio", "C4 E4 G4 C5 E5 G5 C6", ""),
    ("chromatic run", "C5 C#5 D5 D#5 E5 F5", ""),
    ("bass and chords", "", "C2+C3 E4+G4 G2 E4+G4"),
    ("parallel lines", "E5 F5 G5 A5", "C4 D4 E4 F4"),
    ("held note", "C5~8", ""),
]


@pytest.mark.parametrize(("kind", "upper", "lower"), RECOGNISED, ids=lambda v: v[:14])
def test_each_kind_is_recognised_and_no_other_in_its_place(kind: str, upper: str, lower: str):
    draft = scene(upper, lower)
    if kind == "held note":
        moving = scene("D5 E5 F5 G5 A5 G5 F5").notes
        merged = sorted((*(n.source for n in draft.notes), *(
            Note(f"m{n.id}", "P1", 0, n.onset + Fraction(1, 4), n.source.duration, n.pitch, 1,
                 "2") for n in moving)), key=lambda n: (n.onset, n.midi))
        draft = start(_with(draft.source, merged), "P1")
    assert kinds(draft) == {kind}


def _with(score: Score, notes: Sequence[Note]) -> Score:
    return Score(score.title, score.parts, score.measures, tuple(notes), score.tempo,
                 score.playing_order)


@pytest.mark.parametrize("upper", ["C5 D5 E5 F5 G5 A5", "C4+E4+G4 B3+D4+G4 C4+E4+G4", "C5 C5"])
def test_scales_single_chords_and_pairs_are_no_texture(upper: str):
    assert kinds(scene(upper)) == set()


def test_slow_figures_are_no_texture():
    slow = scene("Bb4 Bb4 Bb4 Bb4 C5 C#5 D5 D#5 E5", each=Fraction(1), bpm=60)
    assert kinds(slow) == set()


@pytest.mark.parametrize("mark", ["tremolo", "trill"])
def test_signs_are_seen(mark: str):
    assert kinds(scene("B4", marks=mark)) == {f"{mark} sign"}


def test_repeated_b_flat_goes_to_two_strings_the_lower_first():
    """Berlioz p. 88: easy and well sounding on A sharp and B flat; HNM: lower string first."""
    draft = scene("Bb4 Bb4 Bb4 Bb4")
    version = offers(draft, "repeated note")["two strings in unison"]
    done = apply(version, draft)
    assert spelled(done) == ["A#4", "Bb4", "A#4", "Bb4"]
    assert [n.pitch.midi for n in done.notes] == [n.pitch.midi for n in draft.notes]
    assert faults(done) == ()
    assert version.price == 2 * SETTINGS.prices["respell"]
    strung = give_strings(done, SETTINGS).draft
    assert spelled(strung) == spelled(done)  # the pedals can stand so, and the planner lets them


@pytest.mark.parametrize("name", ["D5", "G4", "A4", "F##4"])
def test_d_g_and_a_have_no_second_string(name: str):
    """HNM, tremolo: every note of the chromatic scale except D, G and A natural."""
    assert "two strings in unison" not in offers(scene(" ".join([name] * 4)), "repeated note")


def test_trill_goes_to_two_hands():
    """Carl Swanson, harpist: a trill lies in two hands, or in one on 2 1 2 1."""
    draft = scene("C6 D6 C6 D6 C6 D6")
    done = apply(offers(draft, "trill")["between the hands"], draft)
    assert [n.hand for n in done.notes] == ["R", "L"] * 3


def test_chromatic_run_keeps_its_ends_and_the_notes_of_the_chord():
    """Berlioz p. 85: altered notes give way to notes of the harmony."""
    draft = scene("C5 C#5 D5 D#5 E5 F5 F#5 G5", "C3+E3+G3~8")
    done = apply(offers(draft, "chromatic run")["only notes of the chord"], draft)
    assert [n.pitch.name for n in done.notes if n.source.staff == 1] == ["C5", "E5", "G5"]
    assert faults(done) == ()


def test_tune_is_never_moved_by_an_octave():
    assert "octaves in turn" not in offers(scene("Bb4 Bb4 Bb4 Bb4", "C3~4"), "repeated note")


@pytest.mark.parametrize(("kind", "upper", "lower"), RECOGNISED[:-1], ids=lambda v: v[:14])
def test_every_version_closes_its_ledger_and_is_priced(kind: str, upper: str, lower: str):
    draft = scene(upper, lower)
    for version in offers(draft, kind).values():
        done = apply(version, draft)
        assert faults(done) == ()
        assert version.price > 0
        assert version.notes <= version.texture.ids
        assert {n.id for n in draft.notes} - {n.id for n in done.notes} == {
            a.edit.note for a in version.edits if isinstance(a.edit, Drop)}


def plain(draft: Draft) -> tuple[Draft, int]:
    """Strings and hands one after the other, with their prices."""
    strung = give_strings(draft, SETTINGS)
    handed = give_hands(strung.draft, SETTINGS)
    return handed.draft, strung.total + handed.total


def no_second_stroke(draft: Draft) -> tuple[Draft, int]:
    """As ``plain``, and a string sounds no second time within 0.2 s: 500 a note."""
    played, price = plain(draft)
    kept, last = [], {}
    for n in played.notes:
        now = draft.source.tempo.seconds(n.onset)
        if now - last.get(n.string, -1.0) < 0.2:
            price += 500
        else:
            kept.append(n)
            last[n.string] = now
    return Draft(played.source, "P1", tuple(kept), played.plan, played.ledger), price


def test_fast_repetition_is_played_on_two_strings():
    draft = scene("Bb4 Bb4 Bb4 Bb4 Bb4 Bb4")
    found = improve(draft, no_second_stroke, SETTINGS)
    assert [v.title for v, _ in found.taken] == ["two strings in unison"]
    assert all(isinstance(e.edit, Respell) for e in found.draft.ledger.entries)
    assert len(no_second_stroke(found.draft)[0].notes) == 6


@pytest.mark.parametrize("upper", ["Bb4 . Bb4 . Bb4 . Bb4", "C4+E4+G4 C4+E4+G4 C4+E4+G4",
                                   "C5 D5 C5 D5 C5 D5", "C4 E4 G4 C5 G4 E4 C4"])
def test_nothing_is_rewritten_that_is_playable(upper: str):
    """Kuntz and common practice: what lies under the hands stays."""
    draft = scene(upper, each=Fraction(1, 2))
    assert improve(draft, plain, SETTINGS).draft == draft


def test_own_output_stays():
    first = no_second_stroke(improve(scene("Bb4 Bb4 Bb4 Bb4 Bb4 Bb4"), no_second_stroke,
                                     SETTINGS).draft)[0]
    again = start(as_source(first), "P1")
    assert improve(again, no_second_stroke, SETTINGS).draft == again


def test_decided_notes_are_left_alone():
    draft = scene("Bb4 Bb4 Bb4 Bb4")
    pinned = Pins(notes={draft.notes[1].id: Pin(hand="R")})
    found = improve(draft, no_second_stroke, Settings(
        SETTINGS.harp, SETTINGS.player, SETTINGS.prices, pinned))
    assert all(draft.notes[1].id not in v.notes for v, _ in found.taken)


def test_version_that_spoils_the_whole_piece_is_given_up():
    """The window likes it, the piece does not: nothing is taken."""
    draft = scene("Bb4 Bb4 Bb4 Bb4 Bb4 Bb4 .~40 C4")

    def spoilt(tried: Draft) -> tuple[Draft, int]:
        played, price = no_second_stroke(tried)
        whole = any(n.pitch.name == "C4" for n in tried.notes)
        changed = any(n.pitch.name == "A#4" for n in tried.notes)
        return played, price + 10**6 * (whole and changed)

    assert improve(draft, spoilt, SETTINGS).taken == ()


@settings(max_examples=40, deadline=None)
@given(st.lists(st.sampled_from(["C4", "C#4", "D4", "Bb4", "C4+E4+G4", "C3+C4", "G5", "."]),
                min_size=1, max_size=14).filter(lambda names: set(names) != {"."}))
def test_versions_conserve_notes(names: list[str]):
    draft = scene(" ".join(names), "C3~4")
    field = Field(draft.notes, roles(draft.notes), SETTINGS.harp, SETTINGS.prices)
    for texture in textures(draft, NUMBERS, 9):
        for version in versions(texture, field):
            assert faults(apply(version, draft)) == ()
            assert all(isinstance(a.edit, Drop | GiveToHand) or a.edit.pitch.pitch_class in
                       {n.pitch.pitch_class for n in texture.notes} for a in version.edits)


def test_number_without_a_source_is_refused(tmp_path):
    path = tmp_path / "textures.toml"
    path.write_text('[number.run_notes]\nvalue = 5\nunit = "notes"\n')
    with pytest.raises(RuleError, match=r"number\.run_notes\.source is missing"):
        load_texture_numbers(path)
