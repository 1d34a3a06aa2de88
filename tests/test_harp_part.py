"""Choosing parts, and turning them into a harp part."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction

import pytest
from lxml import etree

from arranger.io.harp_clean import Removed
from arranger.io.harp_part import as_harp_part
from arranger.io.musicxml_read import read
from arranger.io.musicxml_write import serialise
from arranger.io.part_choice import choose_parts
from arranger.io.pedal_words import is_pedal_text, read_moves
from arranger.model.errors import ChoiceError
from tests.handwritten import attributes, backup, chord, note, part, piano, score, words
from tests.schema import validate

BAR = note("C5", 16)


def _one_staff(*measures: str, ident: str = "P1", **more: object) -> str:
    first, *others = measures
    return part(attributes(1, **more) + first, *others, ident=ident)  # type: ignore[arg-type]


def _named(*names: str, staves: tuple[int, ...] = ()) -> etree._Element:
    counts = staves or (1,) * len(names)
    return score(*(part(attributes(count) + BAR, ident=f"P{i}")
                   for i, count in enumerate(counts, 1)), names=names)


def _sounding(root: etree._Element, *parts: str) -> Counter[tuple[Fraction, int]]:
    found = read(root)
    return Counter((n.onset, n.midi) for p in parts for n in found.score.part_notes(p))


# choice

@pytest.mark.parametrize(("names", "chosen"), [
    (("Whatever",), ("P1",)),
    (("Voice", "Piano"), ("P2",)),
    (("Gesang", "Pianoforte."), ("P2",)),
    (("Canto", "Clavicembalo"), ("P2",)),
    (("Głos", "Fortepian"), ("P2",)),
    (("Violin", "Harpsichord", "Cello"), ("P2",)),
    (("Voice", "Piano", "Piano"), ("P2", "P3")),
    (("Voice", "Piano RH", "Piano LH"), ("P2", "P3")),
    (("Voice", "Klavier (rechte Hand)", "Klavier (linke Hand)"), ("P2", "P3")),
    (("Flute", "Harfe"), ("P2",)),
    (("Flute", "Arpa", "Violin"), ("P2",)),
])
def test_the_keyboard_else_the_harp_is_chosen(names, chosen):
    assert choose_parts(_named(*names)) == chosen


def test_the_only_part_with_two_staves_is_chosen():
    assert choose_parts(_named("A", "B", "C", staves=(1, 2, 1))) == ("P2",)


@pytest.mark.parametrize(("names", "staves"), [
    (("Soprano", "Alto", "Piano"), (1, 1, 2)), (("Soprano", "Alto", "Accompaniment"), (1, 1, 2)),
    (("Soprano", "Alto", "Piano"), (1, 1, 1))])
def test_voices_that_sound_like_a_piano_are_voices(names, staves):
    root = _named(*names, staves=staves)
    for line in root.iterfind("part-list/score-part"):
        etree.SubElement(etree.SubElement(line, "score-instrument"), "instrument-name").text = (
            "Grand Piano")
    assert choose_parts(root) == ("P3",)


@pytest.mark.parametrize("names", [("Violin 1", "Violin 2"), ("Piano I", "Voice", "Piano II")])
def test_an_unclear_choice_lists_the_parts(names):
    with pytest.raises(ChoiceError, match=r"--part NAME, one of: P1 \(") as error:
        choose_parts(_named(*names))
    assert all(name in str(error.value) for name in names)
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(("asked", "chosen"), [
    (("p2",), ("P2",)), (("VIOLA",), ("P3",)), (("violin 1",), ("P1",)),
    (("cello",), ("P4",)), (("Cello", "Violin 1"), ("P1", "P4")), (("viol",), None)])
def test_parts_by_name(asked, chosen):
    root = _named("Violin 1", "Violin 2", "Viola", "Violoncello")
    if chosen is None:
        with pytest.raises(ChoiceError, match="more than one part is called 'viol'"):
            choose_parts(root, asked)
    else:
        assert choose_parts(root, asked) == chosen


def test_the_whole_name_wins_over_a_longer_one():
    assert choose_parts(_named("Viola d'amore", "Viola"), ("viola",)) == ("P2",)


def test_an_unknown_name_lists_the_parts():
    with pytest.raises(ChoiceError, match=r"no part is called 'tuba'; the parts are: P1 \(Voice\)"):
        choose_parts(_named("Voice", "Piano"), ("tuba",))


# one part

def test_a_piano_becomes_the_last_part_called_harp():
    root = score(part(attributes() + BAR + backup(16) + note("C3", 16, voice=5, staff=2)),
                 _one_staff(note("E5", 16), ident="P2"), names=("Piano", "Voice"))
    made = as_harp_part(root, ("P1",))
    assert [p.get("id") for p in made.root.findall("part")] == ["P2", "P1"]
    assert [p.get("id") for p in made.root.iterfind("part-list/score-part")] == ["P2", "P1"]
    line = made.root.find("part-list/score-part[@id='P1']")
    assert line.findtext("part-name") == "Harp"
    assert line.findtext("score-instrument/instrument-sound") == "pluck.harp"
    assert line.findtext("midi-instrument/midi-program") == "47"
    assert not validate(serialise(made.root))
    assert root.find("part").get("id") == "P1"  # the source is not touched


def test_the_voice_is_left_alone():
    voice = _one_staff(words("Ped.") + note("E5", 16, notations="<technical><fingering>1"
                                            "</fingering></technical>"), ident="P2")
    root = score(part(attributes() + BAR), voice, names=("Piano", "Voice"))
    before = etree.tostring(root.findall("part")[1], method="c14n")
    made = as_harp_part(root, ("P1",))
    assert etree.tostring(made.root.find("part[@id='P2']"), method="c14n") == before


def test_a_draft_goes_through_unchanged():
    made = as_harp_part(piano(chord("C4 E4", 16) + backup(16) + note("C3", 16, voice=2, staff=2)),
                        ("P1",))
    again = as_harp_part(made.root, ("P1",), keep_fingering=True)
    assert serialise(again.root) == serialise(made.root)
    assert again.removed == ()


def test_one_staff_becomes_two():
    root = score(_one_staff(note("C5", 16), note("D5", 16)))
    made = as_harp_part(root, ("P1",))
    measures = made.root.findall("part/measure")
    assert measures[0].findtext("attributes/staves") == "2"
    assert [c.findtext("sign") for c in measures[0].iterfind("attributes/clef")] == ["G", "F"]
    for measure in measures:
        staves = [(n.findtext("staff"), n.find("rest") is not None)
                  for n in measure.findall("note")]
        assert staves == [("1", False), ("2", True)]
    assert _sounding(made.root, "P1") == _sounding(root, "P1")
    assert not validate(serialise(made.root))


def test_three_staves_become_two_with_voices_of_their_own():
    bar = (note("C5", 16) + backup(16) + note("E4", 16, voice=1, staff=2) + backup(16)
           + note("C3", 16, voice=2, staff=3))
    root = score(part(attributes(3) + bar))
    made = as_harp_part(root, ("P1",))
    notes = made.root.findall("part/measure/note")
    assert [n.findtext("staff") for n in notes] == ["1", "1", "2"]
    assert len({n.findtext("voice") for n in notes}) == 3
    assert _sounding(made.root, "P1") == _sounding(root, "P1")


def test_one_voice_number_on_both_staves_becomes_two():
    bar = note("C5", 16, voice=0) + backup(16) + note("C3", 16, voice=0, staff=2)
    made = as_harp_part(piano(bar), ("P1",))
    assert [n.findtext("voice") for n in made.root.iter("note")] == ["1", "2"]


def test_an_unknown_id_is_refused():
    with pytest.raises(ChoiceError, match="no part has the id 'P9'"):
        as_harp_part(piano(BAR), ("P9",))


def test_endings_are_numbered_as_the_schema_wants():
    ending = ('<barline location="right"><ending number="0, 1" type="stop"/>'
              '<repeat direction="backward"/></barline>')
    made = as_harp_part(piano(BAR + ending), ("P1",))
    assert made.root.find(".//ending").get("number") == "1"


# transposition

def _transpose(steps: int, semitones: int, octaves: int = 0) -> str:
    return (f"<transpose><diatonic>{steps}</diatonic><chromatic>{semitones}</chromatic>"
            f"{f'<octave-change>{octaves}</octave-change>' if octaves else ''}</transpose>")


@pytest.mark.parametrize(("steps", "semitones", "octaves", "written", "sounding", "fifths"), [
    (-1, -2, 0, "D5", "C5", -2),  # clarinet in B flat
    (-2, -3, 0, "E5", "C#5", 3),  # clarinet in A
    (-4, -7, 0, "F#4", "B3", -1),  # horn in F
    (0, 0, -1, "C3", "C2", 0),  # double bass
    (-1, -2, -1, "E4", "D3", -2),  # bass clarinet
])
def test_a_transposing_part_is_turned_to_concert_pitch(steps, semitones, octaves, written,
                                                       sounding, fifths):
    root = score(_one_staff(note(written, 16), more=_transpose(steps, semitones, octaves)))
    made = as_harp_part(root, ("P1",))
    assert read(made.root).score.notes[0].pitch.name == sounding
    assert made.root.find(".//transpose") is None
    assert int(made.root.findtext(".//key/fifths")) == fifths
    assert _sounding(made.root, "P1") == _sounding(root, "P1")


# several parts

def test_a_quartet_is_laid_on_two_staves():
    parts = [_one_staff(note(n, 16), note(n, 8) + note(n, 8), ident=f"P{i}")
             for i, n in enumerate(("E5", "C5", "G4", "C3"), 1)]
    root = score(*parts, names=("Violin 1", "Violin 2", "Viola", "Cello"))
    made = as_harp_part(root, ("P1", "P2", "P3", "P4"))
    assert len(made.root.findall("part")) == 1
    notes = made.root.findall("part/measure/note")
    assert [n.findtext("staff") for n in notes[:4]] == ["1", "1", "2", "2"]
    assert [n.findtext("voice") for n in notes[:4]] == ["1", "2", "3", "4"]
    assert _sounding(made.root, "P1") == _sounding(root, "P1", "P2", "P3", "P4")
    assert len(made.root.findall(".//time")) == len(made.root.findall(".//key")) == 1
    assert not validate(serialise(made.root))


def test_different_divisions_are_brought_together():
    root = score(_one_staff(note("C5", 16)),
                 _one_staff("".join(f"<note><pitch><step>{s}</step><octave>3</octave></pitch>"
                                    "<duration>4</duration></note>" for s in "CDE"),
                            ident="P2", divisions=3), names=("A", "B"))
    made = as_harp_part(root, ("P1", "P2"))
    assert [d.text for d in made.root.iter("divisions")] == ["12"]
    assert _sounding(made.root, "P1") == _sounding(root, "P1", "P2")


def test_slurs_of_two_parts_do_not_meet():
    slur = '<slur type="{}" number="1"/>'
    bars = [note(n, 8, notations=slur.format("start")) + note(n, 8, notations=slur.format("stop"))
            for n in ("C5", "C3")]
    root = score(*(_one_staff(b, ident=f"P{i}") for i, b in enumerate(bars, 1)), names=("A", "B"))
    made = as_harp_part(root, ("P1", "P2"))
    assert [s.get("number") for s in made.root.iter("slur")] == ["1", "1", "2", "2"]


def test_a_word_over_all_parts_stands_once():
    root = score(*(_one_staff(words("rit.") + BAR, ident=f"P{i}") for i in (1, 2)),
                 names=("A", "B"))
    made = as_harp_part(root, ("P1", "P2"))
    assert [w.text for w in made.root.iter("words")] == ["rit."]


def test_the_rest_of_a_resting_player_is_hidden_beside_one_who_plays():
    root = score(*(_one_staff(b, ident=f"P{i}") for i, b in
                   enumerate((note("C5", 16), note("r", 16), note("r", 16), note("r", 16)), 1)),
                 names=("A", "B", "C", "D"))
    made = as_harp_part(root, ("P1", "P2", "P3", "P4"))
    shown = [(n.findtext("staff"), n.get("print-object")) for n in made.root.iter("note")]
    assert shown == [("1", None), ("2", None), ("2", "no")]  # the last stands behind its clef


def test_groups_close_without_the_harp():
    listing = ('<part-group type="start" number="1"/><score-part id="P1"><part-name>Voice'
               '</part-name></score-part><part-group type="start" number="2"/>'
               '<score-part id="P2"><part-name>Piano</part-name></score-part>'
               '<part-group type="stop" number="2"/>')
    root = score(_one_staff(BAR), part(attributes() + BAR, ident="P2"), listing=listing)
    made = as_harp_part(root, ("P2",))
    lines = [(line.tag, line.get("type"), line.get("number") or line.get("id"))
             for line in made.root.find("part-list")]
    assert lines == [("score-part", None, "P1"), ("score-part", None, "P2")]


# signs of the piano

@pytest.mark.parametrize("text", [
    "Ped.", "con Ped.", "con pedale", "sempre Ped. simile", "mit Pedal", "una corda",
    "tre corde", "u.c.", "with both Pedals", "m.d.", "m.s. sopra", "L.H.", "main gauche"])
def test_words_of_the_piano_go(text):
    made = as_harp_part(piano(words(text) + BAR), ("P1",))
    assert made.root.find(".//direction") is None
    assert [r.count for r in made.removed] == [1]


@pytest.mark.parametrize("text", ["a tempo", "pedante", "con moto", "cresc.", "dim.", "sotto voce",
                                  "espress.", "A", "G", "accord", "B", "rit."])
def test_other_words_stay(text):
    made = as_harp_part(piano(words(text) + BAR), ("P1",))
    assert made.root.findtext(".//words") == text
    assert made.removed == ()


@pytest.mark.parametrize(("text", "left"), [
    ("pizz.", None), ("arco", None), ("con sord.", None), ("senza sordino", None), ("div.", None),
    ("mit Dämpfer", None), ("pizz. dolce", "dolce"), ("Solo", "Solo"), ("divertito", "divertito"),
    ("sultry", "sultry")])
def test_words_of_the_bow_go_from_parts_of_one_staff(text, left):
    made = as_harp_part(score(_one_staff(words(text) + BAR), names=("Violin",)), ("P1",))
    assert made.root.findtext(".//words") == left
    assert [r.kind for r in made.removed] == (["bowing"] if left != text else [])
    assert as_harp_part(piano(words(text) + BAR), ("P1",)).root.findtext(".//words") == text
    own = score(_one_staff(words(text) + BAR), names=("Harp",))
    assert as_harp_part(own, ("P1",), keep_fingering=True).root.findtext(".//words") == text


def test_signs_of_the_bow_go_and_harmonics_stay():
    technical = "<technical><up-bow/><open-string/><harmonic/></technical>"
    root = score(_one_staff(note("C5", 16, notations=technical)), names=("Violin",))
    made = as_harp_part(root, ("P1",))
    assert [t.tag for t in made.root.find(".//technical")] == ["harmonic"]
    assert made.removed == (Removed("bowing", 2, "1"),)


def test_a_phrase_loses_only_the_pedal():
    made = as_harp_part(piano(words("dolce, con pedale") + BAR), ("P1",))
    assert made.root.findtext(".//words") == "dolce"


def test_pedals_fingers_and_diagrams_are_counted():
    pedal = '<direction><direction-type><pedal type="{}"/></direction-type>{}</direction>'
    finger = "<technical><fingering>5</fingering></technical>"
    sound = '<sound tempo="90" damper-pedal="yes"/>'
    bar = (pedal.format("start", sound) + note("C5", 8, notations=finger)
           + pedal.format("stop", '<sound damper-pedal="no"/>') + note("C5", 8))
    made = as_harp_part(piano(BAR, bar, bar + words("F♯ C♮")), ("P1",))
    assert made.removed == (Removed("fingering", 2, "2"), Removed("old pedal words", 1, "3"),
                            Removed("sustain pedal", 4, "2"))
    assert made.root.find(".//direction") is None
    assert [dict(s.attrib) for s in made.root.iter("sound")] == [{"tempo": "90"}] * 2
    assert made.root.find(".//notations") is None
    assert not validate(serialise(made.root))


def test_fingers_and_hands_of_a_harp_part_may_stay():
    finger = "<technical><fingering>1</fingering></technical>"
    root = piano(words("m.d.") + note("C5", 16, notations=finger))
    made = as_harp_part(root, ("P1",), keep_fingering=True)
    assert made.removed == ()
    assert made.root.find(".//fingering") is not None


@pytest.mark.parametrize(("text", "moves"), [
    ("F♯ C♮", {"F": 1, "C": 0}), ("Bb", {"B": -1}), ("E♭ A♭", {"E": -1, "A": -1}),
    ("B♭→♮", {"B": -1}), ("A", {}), ("Fine", {}), ("D.C.", {}), ("F♯ e", {})])
def test_pedal_words_are_known(text, moves):
    assert read_moves(text) == moves


def test_own_words_are_known_again():
    assert is_pedal_text("tune low C to C♭")
    assert is_pedal_text("boxed: two notches")
    assert not is_pedal_text("tune the strings")
