"""Chord symbols: what they name, and the left hand that plays them."""

from __future__ import annotations

import re
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from click.testing import CliRunner
from lxml import etree

from arranger.api import Request, convert, options
from arranger.cli import main
from arranger.commands.lead_sheet import PRINTED_ONLY
from arranger.io.chord_symbols import symbol
from arranger.io.harp_concert import to_concert
from arranger.io.musicxml_read import read
from arranger.io.musicxml_tree import parse
from arranger.io.source_part import source_part
from arranger.model.chord import ChordSymbol, Tone
from arranger.model.errors import ChoiceError, RuleError
from arranger.model.harp import HarpString
from arranger.model.levers import LeverMove, LeverPlan
from arranger.model.pitch import Pitch
from arranger.model.score import Measure, Note, Part, Score, TempoMap, TempoMark
from arranger.plan.chord_hand import left_hand
from arranger.plan.chord_levers import room, standing
from arranger.plan.chord_rhythm import Stretch, figure, stretches
from arranger.rulebook.chords import load_chords
from arranger.rulebook.harps import load_harp
from arranger.rulebook.players import load_player
from tests.handwritten import attributes, chord, note, part, score
from tests.schema import validate

#: Kinds of the MusicXML 4.0 standard (kind-value) with their notes over C.
STANDARD = {
    "major": "C E G", "minor": "C Eb G", "augmented": "C E G#", "diminished": "C Eb Gb",
    "dominant": "C E G Bb", "major-seventh": "C E G B", "minor-seventh": "C Eb G Bb",
    "diminished-seventh": "C Eb Gb Bbb", "augmented-seventh": "C E G# Bb",
    "half-diminished": "C Eb Gb Bb", "major-minor": "C Eb G B", "major-sixth": "C E G A",
    "minor-sixth": "C Eb G A", "dominant-ninth": "C E G Bb D", "major-ninth": "C E G B D",
    "minor-ninth": "C Eb G Bb D", "dominant-11th": "C E G Bb D F", "major-11th": "C E G B D F",
    "minor-11th": "C Eb G Bb D F", "dominant-13th": "C E G Bb D F A",
    "major-13th": "C E G B D F A", "minor-13th": "C Eb G Bb D F A", "suspended-second": "C D G",
    "suspended-fourth": "C F G", "power": "C G", "pedal": "C", "Italian": "C E A#",
    "French": "C E F# A#", "German": "C E G A#", "Tristan": "C F# A# D#"}


def named(kind: str, root: str = "C", alter: int = 0, more: str = "") -> ChordSymbol:
    return symbol(etree.fromstring(harmony(root, kind, alter, more)), Fraction(0))


def harmony(root: str, kind: str = "major", alter: int = 0, more: str = "") -> str:
    sign = f"<root-alter>{alter}</root-alter>" if alter else ""
    return (f"<harmony><root><root-step>{root}</root-step>{sign}</root><kind>{kind}</kind>{more}"
            "</harmony>")


def slash(step: str) -> str:
    return f"<bass><bass-step>{step}</bass-step></bass>"


def degree(value: int, alter: int, what: str) -> str:
    return (f"<degree><degree-value>{value}</degree-value><degree-alter>{alter}</degree-alter>"
            f"<degree-type>{what}</degree-type></degree>")


def names(found: ChordSymbol) -> str:
    order = sorted(found.tones, key=lambda d: (d > 8, d))
    return " ".join(found.tones[d].at(0).name[:-1] for d in order)


# --- what a symbol names

@pytest.mark.parametrize(("kind", "notes"), STANDARD.items())
def test_kinds_are_those_of_the_standard(kind: str, notes: str) -> None:
    assert set(names(named(kind)).split()) == set(notes.split())
    assert named(kind).unknown == ""


def test_every_kind_of_the_schema_is_known() -> None:
    schema = {"Neapolitan", "none", "other"} | STANDARD.keys()
    assert {k.lower() for k in schema} - load_chords().kinds.keys() == {"neapolitan", "none"}


@pytest.mark.parametrize(("more", "notes"), [
    (degree(7, 0, "add"), "C E G Bb"), (degree(9, 1, "add"), "C E G D#"),
    (degree(5, -1, "alter"), "C E Gb"), (degree(3, 0, "subtract"), "C G"),
    (degree(40, 0, "add"), "C E G"), (degree(2, 0, "alter"), "C D E G")])
def test_degrees_change_a_chord(more: str, notes: str) -> None:
    assert set(names(named("major", more=more)).split()) == set(notes.split())


def test_roots_and_basses_are_spelled() -> None:
    assert names(named("minor", "G", 1)) == "G# B D#"
    assert named("major", more=slash("E")).bass == Tone("E", 0)
    assert named("dominant", more="<inversion>3</inversion>").bass == Tone("B", -1)
    assert names(named("other", more=degree(5, 0, "add"))) == "C G"


def test_an_unknown_kind_is_a_major_triad_and_said() -> None:
    assert (names(named("strange")), named("strange").unknown) == ("C E G", "strange")
    assert named("other").unknown == "other"


def test_numbers_that_are_none_are_nothing() -> None:
    assert names(named("major", "C", 0, degree(7, 0, "add").replace(">7<", ">1e99999999<"))) == \
        "C E G"
    assert named("major", "C", 13).tones[1] == Tone("C", 1)


@pytest.mark.parametrize("text", [
    "<harmony><kind>none</kind></harmony>", harmony("C", "none"), harmony("H"),
    "<harmony><function>IV</function><kind>major</kind></harmony>"])
def test_without_a_chord_there_is_silence(text: str) -> None:
    assert symbol(etree.fromstring(text), Fraction(0)).tones == {}


def test_a_transposing_part_has_its_symbols_at_concert_pitch() -> None:
    clarinet = ("<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>")
    tree = etree.fromstring(part(attributes(1, more=clarinet) + harmony("D", "minor", more=slash(
        "A")) + note("D5", 16)))
    to_concert(tree)
    found = symbol(tree.find("measure/harmony"), Fraction(0))
    assert (names(found), found.bass) == ("C Eb G", Tone("G", 0))


def test_a_wrong_file_of_chords_is_refused(tmp_path: Path) -> None:
    place = 'value = "C2", source = "x"'
    hand = f"[left_hand]\nlowest = {{ {place} }}\nhome = {{ {place} }}\nhighest = {{ {place} }}\n"
    file = tmp_path / "chords.toml"
    for text, told in (('[kinds]\nsource = "x"\nmajor = "1 x"\n' + hand, "no degree"),
                       ('[kinds]\nmajor = "1"\n' + hand, "source"),
                       ('[kinds]\nsource = "x"\n' + hand.replace("C2", "H2"), "lowest")):
        file.write_text(text, "utf-8")
        with pytest.raises(RuleError, match=told):
            load_chords(file)


# --- rhythm

def bars(beats: int, beat_type: int, count: int, first: Fraction | None = None) -> Score:
    length = Fraction(4 * beats, beat_type)
    made, at = [], Fraction(0)
    for index in range(count):
        here = first if first and not index else length
        made.append(Measure(index, str(index + 1), at, here, beats, beat_type))
        at += here
    return Score("", (Part("P1", ""),), tuple(made), (), TempoMap((TempoMark(Fraction(0),
                                                                           Fraction(90)),)),
                 tuple(range(count)))


C = named("major")


@pytest.mark.parametrize(("metre", "strokes"), [
    ((4, 4), "all 0 upper 2"), ((2, 4), "bass 0 upper 1"), ((3, 4), "bass 0 middle 1 top 2"),
    ((6, 8), "bass 0 upper 3/2"), ((9, 8), "bass 0 middle 3/2 top 3"), ((2, 2), "bass 0 upper 2"),
    ((12, 8), "all 0 upper 3"), ((5, 4), "all 0 upper 3"), ((3, 8), "all 0")])
def test_a_bar_of_one_chord(metre: tuple[int, int], strokes: str) -> None:
    here, last = stretches(bars(*metre, 2), [C])
    told = " ".join(f"{b.what} {b.start}" for b in figure(here))
    assert told == strokes
    assert figure(here)[-1].end == here.bar.duration
    assert [b.what for b in figure(last)] == ["all"]  # the last chord is held


def test_a_chord_is_struck_again_in_each_bar_and_where_it_changes() -> None:
    second = ChordSymbol(Fraction(6), C.tones, C.bass)
    found = stretches(bars(4, 4, 3), [C, second, ChordSymbol(Fraction(11))])
    assert [(s.start, s.end) for s in found] == [(0, 4), (4, 6), (6, 8), (8, 11)]


def test_an_upbeat_waits_for_the_bar_unless_its_chord_is_its_own() -> None:
    upbeat = bars(4, 4, 2, first=Fraction(1))
    assert [s.start for s in stretches(upbeat, [C])] == [1]
    own = [C, ChordSymbol(Fraction(1), C.tones, C.bass)]
    assert [s.start for s in stretches(upbeat, own)] == [0, 1]


# --- the hand

def tune_of(score: Score, *notes: tuple[str, int, int]) -> Score:
    made = tuple(Note(f"n{i}", "P1", score.measure_at(Fraction(at)).index, Fraction(at),
                      Fraction(length), Pitch.parse(name))
                 for i, (name, at, length) in enumerate(notes))
    return Score("", score.parts, score.measures, made, score.tempo, score.playing_order)


def played(score: Score, *symbols: ChordSymbol, harp: str = "pedal-47") -> list[str]:
    made = left_hand(score, "P1", symbols, load_harp(harp), load_player("average"))
    return [" ".join(p.name for p in s.pitches) for s in made.strokes]


def test_root_fifth_and_tenth_where_the_tune_lacks_the_third() -> None:
    assert played(tune_of(bars(4, 4, 1), ("F5", 0, 4)), named("major", "F")) == ["F2 C3 A3"]


def test_no_third_where_the_tune_has_it() -> None:
    (grip,) = played(tune_of(bars(4, 4, 1), ("A4", 0, 4)), named("major", "F"))
    assert "A" not in grip
    assert {n[0] for n in grip.split()} == {"F", "C"}


def test_a_seventh_that_nobody_sounds_is_in_the_chord() -> None:
    (grip,) = played(tune_of(bars(4, 4, 1), ("B4", 0, 4)), named("dominant", "G"))
    assert "F" in {n[0] for n in grip.split()}


@pytest.mark.parametrize("low", ["C4", "A3", "F3", "D3"])
def test_all_notes_lie_below_the_tune(low: str) -> None:
    score = tune_of(bars(4, 4, 2), (low, 0, 2), ("G5", 2, 2), (low, 4, 4))
    strokes = left_hand(score, "P1", [named("minor", "A")], load_harp("pedal-47"),
                        load_player("average")).strokes
    assert strokes
    for stroke in strokes:
        sounding = [n for n in score.notes if n.onset < stroke.onset + stroke.duration
                    and n.end > stroke.onset]
        assert max(p.position for p in stroke.pitches) < min(n.pitch.position for n in sounding)


def test_close_thirds_stay_out_of_the_bass() -> None:
    for root in "CDEFGAB":
        for kind in ("major", "minor", "dominant", "diminished"):
            for grip in played(tune_of(bars(4, 4, 1), ("C4", 0, 4)), named(kind, root)):
                places = [Pitch.parse(n) for n in grip.split()]
                assert all(b.position - a.position > 2 or a.position >= Pitch("C", 0, 3).position
                           for a, b in pairwise(places)), grip


def test_the_bass_that_is_named_is_played() -> None:
    (grip,) = played(tune_of(bars(4, 4, 1), ("C5", 0, 4)), named("major", more=slash("E")))
    assert grip.startswith("E")


def test_the_hand_goes_the_least_way() -> None:
    score = tune_of(bars(4, 4, 4), ("G5", 0, 16))
    symbols = [ChordSymbol(Fraction(4 * at), s.tones, s.bass) for at, s in enumerate(
        (named("major", "F"), named("minor", "D"), named("major", "B", -1), named("major", "F")))]
    basses = [Pitch.parse(s.split()[0]).position for s in played(score, *symbols)[::2]]
    assert max(abs(a - b) for a, b in pairwise(basses)) <= 4


def test_on_pedals_a_letter_the_tune_has_otherwise_is_avoided() -> None:
    score = tune_of(bars(4, 4, 1), ("E5", 0, 2), ("G#5", 2, 2))
    (grip,) = played(score, named("dominant", "C"))
    assert "G" not in {n[0] for n in grip.split()}
    assert "G" in " ".join(played(tune_of(bars(4, 4, 1), ("E5", 0, 4)), named("major", "C")))


def test_where_nothing_fits_the_hand_rests_and_it_is_told() -> None:
    made = left_hand(tune_of(bars(4, 4, 1), ("C2", 0, 4)), "P1", [C], load_harp("pedal-47"),
                     load_player("average"))
    assert (made.strokes, made.silent) == ((), ("1",))


# --- levers

def test_a_string_is_taken_as_it_stands() -> None:
    harp = load_harp("lever-34-c")
    string = HarpString.of(Pitch("G", 0, 3))
    plan = LeverPlan({string: 0}, (LeverMove(Fraction(4), 0.0, string, 0, 1),))
    g5 = Note("n0", "P1", 0, Fraction(0), Fraction(1), Pitch("G", 0, 5))
    stood = standing([g5], [string], plan, [C], harp)
    zero, four, eight = Fraction(0), Fraction(4), Fraction(8)
    assert stood.spelled(Pitch("G", 0, 3), zero, four) == Pitch("G", 0, 3)
    assert stood.spelled(Pitch("G", 0, 3), zero, eight) is None
    assert stood.spelled(Pitch("A", -1, 3), four, eight) == Pitch("G", 1, 3)
    assert stood.spelled(Pitch("G", 0, 2), four, eight) == Pitch("G", 0, 2)


def test_a_letter_the_tune_lacks_stands_as_the_chords_want_it() -> None:
    harp = load_harp("lever-34")
    stood = standing([], [], LeverPlan(), [named("major", "D")], harp)
    assert (stood.letters["F"], stood.letters["A"], stood.letters["B"]) == (1, 0, -1)


def test_time_is_left_to_move_a_lever() -> None:
    string = HarpString.of(Pitch("D", 0, 5))
    move = LeverMove(Fraction(3), 0.0, string, 0, 1)
    tempo = TempoMap((TempoMark(Fraction(0), Fraction(120)),))
    onsets = [Fraction(n) for n in range(6)]
    gone = room([move], {string: [Fraction(0), Fraction(4)]}, onsets, {Fraction(0), Fraction(4)},
                tempo, load_player("average"))
    assert gone == {Fraction(3)}  # the latest, but no barline's
    assert room([move], {string: [Fraction(0), Fraction(4)]}, onsets[:1], set(), tempo,
                load_player("average")) == frozenset()


# --- the command

TUNE = (attributes(1) + harmony("C") + note("E5", 8) + note("G5", 8),
        harmony("F", more=slash("A")) + note("A5", 8) + harmony("G", "dominant") + note("B4", 8),
        "<direction><direction-type><words>N.C.</words></direction-type></direction>"
        + note("D5", 16),
        harmony("C") + note("C5", 16))


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    return put(tmp_path, *TUNE)


def put(folder: Path, *measures: str) -> Path:
    file = folder / "sheet.musicxml"
    file.write_bytes(etree.tostring(score(part(*measures), names=("Voice",))))
    return file


@pytest.mark.parametrize("harp", ["pedal-47", "lever-34", "lever-26"])
@pytest.mark.parametrize("more", [{}, {"ease": 2}, {"transpose": "3"}])
def test_the_left_hand_plays_and_the_ledger_closes(sheet: Path, harp: str,
                                                   more: dict[str, object]) -> None:
    done = convert(Request(sheet, harp=harp, chords=True, verify=True, page=False, **more))
    added = [e for e in done.report["ledger"] if e["kind"] == "add"]
    lower = [n for n in done.report["notes"] if n["hand"] == "L"]
    assert added
    assert {e["after"][0]["id"] for e in added} == {n["id"] for n in lower}
    assert all((e["rule"], e["before"]) == ("T5", []) for e in added)
    assert {n["bar"] for n in lower} == {"1", "2", "4"}  # N.C. is silence
    assert done.report["summary"]["source_notes"] == 6
    assert f"{len(added)} notes added: the chord symbols are played by the left hand." in \
        done.report["remarks"]
    validate(done.files["draft.musicxml"])


def test_the_draft_converted_again_does_not_change_and_takes_no_chords(sheet: Path,
                                                                       tmp_path: Path) -> None:
    convert(Request(sheet, chords=True, page=False), tmp_path / "out")
    draft = tmp_path / "out" / "draft.musicxml"
    again = convert(Request(draft, page=False))
    assert again.files["draft.musicxml"] == draft.read_bytes()
    assert again.report["ledger"] == []
    assert "remarks" not in again.report
    with pytest.raises(ChoiceError, match="the left hand has notes to play"):
        convert(Request(draft, chords=True, page=False))


def test_without_chords_it_is_said_once(sheet: Path, tmp_path: Path) -> None:
    told = CliRunner().invoke(main, ["convert", str(sheet), "--no-page", "-o",
                                     str(tmp_path / "out")]).output
    assert told.replace("\n", " ").count(PRINTED_ONLY) == 1


@pytest.mark.parametrize("measures", [
    (attributes(1) + note("E5", 16),), (attributes(1) + harmony("C") + chord("E5 G5", 16),)])
def test_it_is_not_said_of_other_music(tmp_path: Path, measures: tuple[str, ...]) -> None:
    assert "remarks" not in convert(Request(put(tmp_path, *measures), page=False)).report


def test_refusals_are_one_line(tmp_path: Path) -> None:
    plain = put(tmp_path, attributes(1) + note("E5", 16))
    with pytest.raises(ChoiceError, match="no chord symbols"):
        convert(Request(plain, chords=True, page=False))
    low = put(tmp_path, attributes(1) + harmony("C") + note("C2", 16))
    with pytest.raises(ChoiceError, match="no chord fits"):
        convert(Request(low, chords=True, page=False))
    with pytest.raises(ChoiceError, match="--part-is-harp"):
        convert(Request(low, chords=True, part_is_harp=True, page=False))


def test_what_cannot_be_had_is_said(tmp_path: Path) -> None:
    odd = put(tmp_path, attributes(1) + harmony("C", "strange") + note("G5", 16),
              harmony("G") + note("D2", 16))
    first, *remarks = convert(Request(odd, chords=True, page=False)).report["remarks"]
    assert re.match(r"\d notes added", first)
    assert "'strange' (bar 1)" in remarks[0]
    assert "bar 2" in remarks[1]


def test_the_page_shows_the_source_without_the_chords(sheet: Path) -> None:
    page = convert(Request(sheet, chords=True)).files["report.html"].decode()
    assert "played by the left hand" in page


def test_the_source_beside_the_draft_has_its_own_notes_alone(sheet: Path) -> None:
    from arranger.commands.opening import open_to_arrange
    opened = open_to_arrange(Request(sheet, chords=True))
    shown = read(parse(source_part(opened.document, opened.part), "part")).score
    before = open_to_arrange(Request(sheet)).document.score
    assert [(n.onset, n.pitch) for n in shown.notes] == [(n.onset, n.pitch) for n in before.notes]
    assert [m.duration for m in shown.measures] == [m.duration for m in before.measures]


def test_a_stretch_off_the_beat_is_struck_where_it_begins() -> None:
    (bar,) = bars(4, 4, 1).measures
    (beat,) = figure(Stretch(C, bar, Fraction(3, 2), Fraction(4)))
    assert (beat.start, beat.end, beat.what) == (Fraction(3, 2), 4, "all")


def test_options_do_not_ask_about_added_notes(sheet: Path) -> None:
    found = options(Request(sheet, chords=True, page=False)).report["spots"]
    assert "chord symbol" not in str(found)
