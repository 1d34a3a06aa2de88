"""Choices of the arranger: the file, finding the notes again, and keeping them in a draft."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from lxml import etree

from arranger.io.choices_file import choices_text, read_choices
from arranger.io.harp_part import as_harp_part
from arranger.io.musicxml_read import read
from arranger.model.choice import Choice
from arranger.model.errors import ChoiceError
from arranger.model.pitch import Pitch
from arranger.model.score import Score
from arranger.options.honoured import broken, conflicts
from arranger.options.matching import match
from arranger.options.present import loosened, present_pins
from arranger.passes.pipeline import arrange
from arranger.passes.settings import Settings
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player
from arranger.rulebook.prices import load_prices
from tests.handwritten import backup, chord, note, piano

SETTINGS = Settings(load_harp("pedal-47"), load_player("average"), load_prices())
BARS = [
    chord("E4 G4 C5") + note("D5") + note("C#5") + note("A4") + backup(16) + note("A3", 16,
                                                                              voice=5, staff=2),
    note("F4") + note("A4") + note("C5") + note("B4") + backup(16) + note("F2", 16, voice=5,
                                                                          staff=2),
    note("E4") + note("A4") + note("C5") + note("A4") + backup(16) + note("A2", 16, voice=5,
                                                                          staff=2),
    note("F4") + note("A4") + note("C5") + note("B4") + backup(16) + note("F2", 16, voice=5,
                                                                          staff=2),
    chord("E4 C5", 16) + backup(16) + note("C2", 16, voice=5, staff=2),
]


def score_of(root: etree._Element) -> tuple[Score, str]:
    made = as_harp_part(root, ("P1",))
    return read(made.root).score, made.part_id


def choose(bar: str, beat: str, name: str, kind: str, value: str | int | bool) -> Choice:
    return Choice(bar, Fraction(beat), Pitch.parse(name), kind, value)


TEN = [choose("1", "3", "C#5", "string", "D"), choose("1", "1", "G4", "hand", "L"),
       choose("1", "1", "E4", "drop", True), choose("2", "2", "A4", "octave", 1),
       choose("2", "4", "B4", "string", "C"), choose("3", "2", "A4", "finger", 2),
       choose("3", "3", "C5", "pitch", "E5"), choose("4", "4", "B4", "keep", True),
       choose("5", "1", "C5", "roll", True), choose("4", "1", "F2", "hand", "L")]


def test_file_survives_writing_and_reading(tmp_path):
    file = tmp_path / "a.toml"
    more = [replace(TEN[0], why='so "it" rings\nlong', beat=Fraction(10, 3)),
            Choice("7", Fraction(5, 2), None, "pedal", "F#", index=9)]
    text = choices_text([*TEN, *more])
    file.write_text(text)
    back = read_choices(file)
    assert list(back) == [*TEN, *more]
    assert choices_text(back) == text


@pytest.mark.parametrize(("text", "words"), [
    ("[[choice]]\nbeat = 1\nnote = 'C5'\ndrop = true\n", "line 1: choice 1: bar must be"),
    ("[[choice]]\nbar = '1'\nbeat = 0.5\nnote = 'C5'\ndrop = true\n", "line 3: choice 1: beat"),
    ("\n[[choice]]\nbar='1'\nbeat=1\nnote='H5'\ndrop=true\n", "line 5: choice 1: note must be"),
    ("[[choice]]\nbar='1'\nbeat=1\nnote='C5'\n", "line 4: choice 1: note stands without"),
    ("[[choice]]\nbar='1'\nbeat=1\nnote='C5'\ndrop=true\n[[choice]]\nbar='1'\nbeat=1\nnote='C5'\n"
     "hand='both'\n", "line 10: choice 2: hand must be \"right\" or \"left\""),
    ("[[choice]]\nbar='1'\nbeat=1\nnote='C5'\nstrng='D'\n", "line 5: choice 1: strng is not known"),
    ("[[choice]]\nbar='1'\nbeat=1\nnote='C5'\nfinger=5\n", "finger must be a finger from 1"),
    ("[[choice]]\nbar='1'\nbeat=1\nnote='C5'\npedal='F#'\n", "pedal is about a foot"),
    ("choices = 3\n", "unknown key choices"), ("[[choice]\n", "not TOML"),
])
def test_errors_name_the_line_and_the_key(tmp_path, text, words):
    file = tmp_path / "a.toml"
    file.write_text(text)
    with pytest.raises(ChoiceError, match=r"a\.toml") as error:
        read_choices(file)
    assert words in str(error.value)
    assert "\n" not in str(error.value)


def test_every_kind_of_choice_is_kept():
    score, part = score_of(piano(*BARS))
    matched = match(TEN, score, part, SETTINGS.harp)
    assert (len(matched.placed), matched.lost, matched.impossible) == (10, (), ())
    for one in matched.placed:
        draft = arrange(score, part, replace(SETTINGS, pins=one.pins)).draft
        assert broken(draft, [one]) == (), one.choice
    kept = list(matched.placed)
    pins = replace(SETTINGS, pins=replace(matched, placed=tuple(kept)).pins)
    assert broken(arrange(score, part, pins).draft, kept) == ()


def test_a_draft_without_the_choices_does_not_keep_them_all():
    score, part = score_of(piano(*BARS))
    matched = match(TEN, score, part, SETTINGS.harp)
    free = broken(arrange(score, part, SETTINGS).draft, matched.placed)
    assert {p.choice.kind for p in free} >= {"string", "hand", "drop", "octave", "pitch", "roll"}


def test_choices_are_found_again_with_bars_inserted_in_front():
    score, part = score_of(piano(*BARS))
    first = match(TEN, score, part, SETTINGS.harp)
    told = [p.choice for p in first.placed]
    later, part = score_of(piano(note("G4", 16), note("A4", 16), *BARS))
    again = match(told, later, part, SETTINGS.harp)
    assert (len(again.placed), again.lost) == (10, ())
    assert [int(p.choice.bar) - 2 for p in again.placed] == [int(c.bar) for c in told]
    assert all(p.before for p in again.placed)
    # the same figure stands in bars 2 and 4: what moved with the others tells them apart
    assert [p.choice.bar for p in again.placed if p.choice.kind in ("octave", "keep")] == ["4", "6"]
    assert match(told, *score_of(piano(*BARS)), SETTINGS.harp).placed == first.placed


def test_a_note_that_is_gone_is_reported_and_the_rest_found():
    score, part = score_of(piano(*BARS))
    told = [p.choice for p in match(TEN, score, part, SETTINGS.harp).placed]
    changed = [BARS[0].replace("<step>C</step><alter>1</alter>", "<step>D</step>"), *BARS[1:]]
    again = match(told, *score_of(piano(*changed)), SETTINGS.harp)
    assert [c.note.name for c in again.lost] == ["C#5"]
    assert len(again.placed) == 9


def test_a_note_moved_by_a_beat_is_found_by_its_neighbours():
    score, part = score_of(piano(*BARS))
    told = [p.choice for p in match([TEN[0]], score, part, SETTINGS.harp).placed]
    bar = (chord("E4 G4 C5") + note("D5", 2) + note("C#5", 6) + note("A4") + backup(16)
           + note("A3", 16, voice=5, staff=2))
    again = match(told, *score_of(piano(bar, *BARS[1:])), SETTINGS.harp)
    assert again.placed[0].choice.beat == Fraction(5, 2)
    assert again.placed[0].before == told[0]


def test_what_the_harp_cannot_give_is_said():
    score, part = score_of(piano(*BARS))
    asked = [choose("1", "2", "D5", "string", "C"), choose("5", "1", "C2", "octave", -2)]
    matched = match(asked, score, part, SETTINGS.harp)
    assert matched.impossible[0][1] == "no C string sounds D5"
    assert len(matched.impossible) == 2


def test_choices_that_exclude_each_other_are_named_and_no_others():
    score, part = score_of(piano(*BARS))
    # B sharp and B natural are one string; the E beside them has no part in it
    asked = [choose("1", "1", "C5", "string", "B"), choose("1", "1", "E4", "keep", True),
             choose("1", "1", "G4", "pitch", "B4")]
    matched = match(asked, score, part, SETTINGS.harp)
    pinned = replace(SETTINGS, pins=matched.pins)
    fault = broken(arrange(score, part, pinned).draft, matched.placed)
    assert fault
    told = conflicts(score, part, SETTINGS, matched, fault)
    assert len(told) >= 1
    assert "cannot be kept together with" in told[0]
    assert "E4" not in told[0]
    assert "G4" in told[0]
    assert "C5" in told[0]


def test_the_players_own_note_that_excludes_a_choice_is_named():
    bar = (chord("G#4 B4 D5 G5", 16) + backup(16) + note("G2", 16, voice=5, staff=2))
    score, part = score_of(piano(bar))
    present = present_pins(score, part, SETTINGS.harp, {})
    asked = [choose("1", "1", "G#4", "keep", True), choose("1", "1", "G#4", "string", "G")]
    matched = match(asked, score, part, SETTINGS.harp)
    pins = loosened(present, score, part, SETTINGS.harp, matched.pins).plus(matched.pins)
    pinned = replace(SETTINGS, pins=pins)
    told = conflicts(score, part, pinned, matched, matched.placed, present)
    assert told[1] == ("G♯4 in bar 1, beat 1, on the G string: cannot be kept together with the G5 "
                       "struck there")
    assert "exclude each other" in told[0]
    assert "G5" in told[0]


def test_the_moment_of_a_pedal_is_kept():
    score, part = score_of(piano(*BARS))
    free = arrange(score, part, SETTINGS).draft
    move = free.plan.moves[0]
    where = score.locate(move.onset + Fraction(-1, 2))
    sign = {-1: "b", 0: "", 1: "#"}[move.after]
    asked = Choice(where.bar, where.beat, None, "pedal", move.pedal + sign)
    matched = match([asked], score, part, SETTINGS.harp)
    draft = arrange(score, part, replace(SETTINGS, pins=matched.pins)).draft
    assert broken(draft, matched.placed) == ()
    assert draft.total == free.total
    assert draft.plan.moves != free.plan.moves
