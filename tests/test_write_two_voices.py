"""What several players had, written as one reads it: two voices a staff, one line of signs."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from arranger.io.harp_part import as_harp_part
from arranger.io.musicxml_read import read
from arranger.io.musicxml_write import serialise
from arranger.io.note_values import NAMES, longest_value, spelled
from arranger.io.rung_on import LeftOut, strokes_left_out
from arranger.io.two_voices import Head, share
from arranger.io.write_events import events
from arranger.io.write_phrase_signs import (
    hairpins,
    keep_hairpins,
    keep_slurs,
    one_line_of_dynamics,
    one_line_of_words,
)
from arranger.io.write_slurs import pairs
from arranger.io.write_two_voices import write_two_voices
from arranger.model.draft import PedalMove, PedalPlan
from tests.handwritten import attributes, backup, chord, low, note, part, score
from tests.schema import validate
from tests.test_reduction import melody
from tests.writing import (
    LEFT,
    document_of,
    draft_of,
    loose_beams,
    loose_slurs,
    overlaps,
    wrong_values,
)

UPPER = melody("G5", "A5", "B5", "C6")


def line(*names: str, voice: int, lengths: tuple[int, ...] = (4, 4, 4, 4)) -> str:
    return backup(16) + "".join(note(n, length, voice=voice)
                                for n, length in zip(names, lengths, strict=True))


def relaid(*measures: str, ids: tuple[str, ...] = ("P1",), root: etree._Element | None = None,
           left_out: dict[int, tuple[LeftOut, ...]] | None = None):
    """Write a part of two staves anew; the strokes must be those it had."""
    made = score(part(attributes(2) + measures[0], *measures[1:])) if root is None else root
    document = read(as_harp_part(made, ids).root)
    tree = deepcopy(document.root)
    twin = dict(zip(document.root.iter("note"), tree.iter("note"), strict=True))
    elements = {i: tuple(twin[n] for n in chain) for i, chain in document.elements.items()}
    harp = tree.findall("part")[-1]
    left = write_two_voices(harp, document.score.measures, elements, left_out or {})
    assert not validate(serialise(tree))
    after = read(tree).score
    assert {(n.onset, n.pitch) for n in document.score.notes} == {
        (n.onset, n.pitch) for n in after.notes}
    assert [m.duration for m in document.score.measures] == [m.duration for m in after.measures]
    assert not loose_beams(harp)
    assert not overlaps(harp)
    for chain in left.values():
        assert all(n.getparent() is not None for n in chain)
    for measure in harp.findall("measure"):
        assert {(n.findtext("staff"), n.findtext("voice")) for n in measure.findall("note")} <= {
            ("1", "1"), ("1", "2"), ("1", "3"), ("2", "5"), ("2", "6"), ("2", "7")}
    assert not wrong_values(harp)
    return harp, after


def durations(after, name: str) -> list[Fraction]:
    return [n.duration for n in after.notes if n.pitch.name == name]


def test_equal_rhythms_share_stems() -> None:
    harp, after = relaid(UPPER + line("E5", "F5", "G5", "E5", voice=2)
                         + line("C5", "D5", "D5", "G4", voice=3))
    assert {n.findtext("voice") for n in harp.iterfind("measure/note[pitch]")} == {"1"}
    assert len(harp.findall("measure/note/chord")) == 8
    assert len({n.chord for n in after.notes}) == 4


def test_a_tune_over_held_notes_keeps_two_voices_and_all_lengths() -> None:
    _, after = relaid(UPPER + line("E5", "G5", voice=2, lengths=(8, 8)))
    assert sorted(n.duration for n in after.notes) == [1, 1, 1, 1, 2, 2]


def test_three_rhythms_become_two_and_the_tune_keeps_its_length() -> None:
    quavers = backup(16) + "".join(note("C5", 2, voice=2) for _ in range(8))
    harp, after = relaid(note("G5", 16) + quavers + line("E5", "E5", voice=3, lengths=(8, 8)))
    assert durations(after, "G5") == [4]
    assert len(durations(after, "C5")) == 8
    beams = [n.findtext("beam") for n in harp.iterfind("measure/note") if n.findtext("beam")]
    assert beams == ["begin", "continue", "continue", "end"] * 2


def test_a_string_struck_again_ends_the_held_note_and_rings_as_long() -> None:
    _, after = relaid(note("E5", 16) + line("r", "E5", "C5", "C5", voice=2))
    assert durations(after, "E5") == [1, 3]


def test_a_string_struck_again_is_written_with_the_value_it_lasts() -> None:
    harp, after = relaid(note("E5", 6) + note("D5", 2) + note("E5", 8)
                         + line("r", "E5", "r", "r", voice=2))
    assert durations(after, "E5") == [1, 1, 2]
    assert {n.findtext("type") for n in harp.iterfind("measure/note[pitch]")
            if n.findtext("pitch/step") == "E" and n.findtext("duration") == "4"} == {"quarter"}


def test_a_held_note_between_two_moving_voices_takes_a_third() -> None:
    quavers = backup(16) + "".join(note(n, 2, voice=2) for n in ("C5", "D5") * 4)
    crotchets = note("G5", 12) + note("A5", 4)
    harp, after = relaid(crotchets + quavers + line("E5", voice=3, lengths=(16,)))
    assert durations(after, "E5") == [4]
    assert durations(after, "G5") == [3]
    (third,) = [n for n in harp.iterfind("measure/note") if n.findtext("voice") == "3"]
    assert third.findtext("pitch/step") == "E"


def test_the_third_voice_holds_nothing_short_and_not_the_tune() -> None:
    quavers = backup(16) + "".join(note(n, 2, voice=2) for n in ("C5", "D5") * 4)
    figure = backup(16) + "".join(note("E5", n, voice=3) for n in (3, 3, 2, 3, 3, 2))
    harp, _ = relaid(UPPER + quavers + figure)
    assert {n.findtext("voice") for n in harp.iterfind("measure/note[pitch]")} == {"1", "2"}


def test_what_two_rhythms_share_goes_by_length_where_height_would_cut_it() -> None:
    inner = backup(16) + note("E5", 16, voice=2)
    outer = "".join(note(n, 8) + chord("C5", 8) for n in ("G5", "A5"))
    harp, after = relaid(outer + inner)
    assert durations(after, "E5") == [4]
    assert {n.findtext("voice") for n in harp.iterfind("measure/note[pitch]")} == {"1", "2"}


def test_of_two_that_hold_one_string_the_one_that_goes_on_is_written() -> None:
    harp, after = relaid(
        UPPER + line("r", "r", "r", "E5", voice=2)
        + backup(4) + note("E5", voice=3, tie="start"),
        UPPER + backup(16) + note("E5", 8, voice=3, tie="stop"))
    assert durations(after, "E5") == [3]
    assert len(list(harp.iter("tied"))) in (0, 2)


def test_the_words_of_a_unison_stay() -> None:
    sung = note("G5", 8).replace("</note>", "<lyric><text>la</text></lyric></note>") \
        + note("A5", 8)
    harp, _ = relaid(sung + line("G5", voice=2, lengths=(16,)))
    assert [t.text for t in harp.iter("text")] == ["la"]


def test_a_hand_has_one_ornament_at_a_time_whatever_the_voices() -> None:
    """The highest note's; a tremolo is the stem's own."""
    trill, turn, strokes = (f"<ornaments>{sign}</ornaments>" for sign in (
        "<trill-mark/>", "<turn/>", '<tremolo type="single">2</tremolo>'))
    harp, after = relaid(
        note("G5", notations=turn) + note("A5", notations=trill) + note("B5", 8, notations=strokes)
        + backup(16) + note("E5", notations=trill) + note("C5", 8, voice=2, notations=trill)
        + note("D5", voice=2, notations=strokes))
    assert [(n.onset, n.pitch.name) for n in after.notes if n.marks & {"trill", "turn"}] == [
        (0, "G5"), (1, "A5")]
    assert len(list(harp.iter("tremolo"))) == 2


def test_a_string_rings_on_through_strokes_that_are_left_out() -> None:
    crotchets = note("G5") + note("r") + note("G5") + note("r")
    gone = tuple(LeftOut(79, Fraction(at), Fraction(at) + 1) for at in (1, 3))
    _, after = relaid(crotchets, left_out={0: gone})
    assert durations(after, "G5") == [2, 2]
    late = LeftOut(79, Fraction(3, 2), Fraction(2))  # after a silence: nothing rings on
    _, after = relaid(crotchets, left_out={0: (late,)})
    assert durations(after, "G5") == [1, 1]


def test_strokes_left_out_are_those_of_strings_that_nothing_changes() -> None:
    document = document_of(score(part(attributes(2) + UPPER + LEFT)))
    draft = draft_of(document, drop="A5 B5")
    found = strokes_left_out(document.score, draft)
    assert [(s.midi, s.onset, s.end) for s in found[0]] == [(81, 1, 2), (83, 2, 3)]
    moved = PedalPlan(moves=(PedalMove(Fraction(5, 2), 1.0, "B", 0, -1),))
    assert [s.midi for s in strokes_left_out(document.score, replace(draft, plan=moved))[0]] == [81]


def test_a_unison_is_written_once() -> None:
    harp, _ = relaid(UPPER + line("G5", "F5", "B5", "E5", voice=2))
    assert sum(n.find("pitch") is not None for n in harp.iterfind("measure/note")) == 6


def test_rests_show_where_the_whole_staff_is_silent_and_once() -> None:
    first = note("G5") + note("r") + note("B5") + note("r")
    second = backup(16) + note("E5", voice=2) + note("r", voice=2) + note("D5", 8, voice=2)
    harp, _ = relaid(first + second)
    seen = [(n.findtext("staff"), n.findtext("type")) for n in harp.iterfind("measure/note[rest]")
            if n.get("print-object") != "no"]
    assert seen == [("1", "quarter"), ("2", None)]


def test_a_rest_between_two_notes_of_a_voice_shows_beside_the_other_voice() -> None:
    upper = note("G5") + note("r", 8) + note("A5")
    harp, _ = relaid(upper + line("E5", voice=2, lengths=(16,)))
    seen = [n.findtext("type") for n in harp.iterfind("measure/note[rest]")
            if n.get("print-object") != "no" and n.findtext("staff") == "1"]
    assert seen == ["quarter", "quarter"]


def test_a_tie_that_is_cut_leaves_nothing_behind() -> None:
    held = backup(16) + note("C5", 16, voice=3, tie="start")
    harp, after = relaid(UPPER + line("E5", "C5", voice=2, lengths=(8, 8)) + held,
                         UPPER + backup(16) + note("C5", 16, voice=3, tie="stop"))
    assert durations(after, "C5") == [2, 2]
    assert harp.find("measure/note/tie") is None


def test_triplets_against_quavers_are_counted_out() -> None:
    triplets = "".join(note(n, 4, triplet=True) for n in ("G5", "A5", "B5")).replace(
        "<duration>4", "<duration>8")
    pairs_ = backup(24) + "".join(f"{note(n, 2, voice=2)}".replace("<duration>2", "<duration>12")
                                  for n in ("E5", "F5"))
    root = score(part(attributes(2, divisions=24, beats=1) + triplets + pairs_))
    harp, after = relaid(root=root)
    assert len(after.notes) == 5
    brackets = [t.get("type") for t in harp.iter("tuplet")]
    assert brackets == ["start", "stop"]


def test_grace_notes_stay_before_their_note() -> None:
    harp, after = relaid(note("A5", grace=True) + UPPER + line("E5", "F5", "G5", "E5", voice=2))
    (grace,) = [n for n in after.notes if n.grace]
    assert grace.onset == 0
    assert harp.find("measure/note").find("grace") is not None


def test_grace_notes_of_the_second_voice_leave_the_first_in_time() -> None:
    upper = note("G5", 6) + note("A5", 8) + note("r", 2)
    harp, after = relaid(upper + backup(16) + note("C5", 8, voice=2)
                         + note("D5", 2, grace=True, voice=2) + note("E5", 8, voice=2))
    (grace,) = [n for n in after.notes if n.grace]
    assert grace.onset == 2
    assert harp.find("measure/forward") is None


def test_grace_notes_of_two_voices_sound_together() -> None:
    harp, after = relaid(
        note("C6", 2, grace=True) + note("A5", 2, grace=True) + UPPER
        + backup(16) + note("F5", 2, grace=True, voice=2)
        + line("E5", "F5", "G5", "E5", voice=2).replace(backup(16), "")
        + backup(16) + note("A5", 2, grace=True, voice=3)
        + line("C5", "D5", "E5", "C5", voice=3).replace(backup(16), ""))
    graces = [n for n in harp.findall("measure/note") if n.find("grace") is not None]
    assert [(n.findtext("pitch/step"), n.find("chord") is not None) for n in graces] == [
        ("C", False), ("A", False), ("F", True)]
    assert len([n for n in after.notes if n.grace]) == 3


def test_directions_keep_their_place() -> None:
    word = "<direction><direction-type><words>dolce</words></direction-type></direction>"
    harp, _ = relaid(note("G5", 8) + word + note("A5", 8) + line("E5", "F5", "G5", "E5", voice=2))
    at = Fraction(0)
    for child in harp.find("measure"):
        if child.tag == "direction":
            at += Fraction(child.findtext("offset") or 0)
            break
        if child.tag == "note" and child.find("chord") is None:
            at += Fraction(child.findtext("duration"))
    assert at == 8


def test_chord_symbols_and_figures_keep_the_schema() -> None:
    symbol = ("<harmony><root><root-step>C</root-step></root><kind>major</kind><staff>1</staff>"
              "</harmony>")
    figures = "<figured-bass><figure><figure-number>6</figure-number></figure></figured-bass>"
    forward = "<forward><duration>2</duration></forward>"
    harp, _ = relaid(note("G5", 16) + backup(16) + forward + symbol + figures + backup(2)
                     + line("E5", "F5", "G5", "E5", voice=2)[len(backup(16)):])
    assert harp.findtext("measure/harmony/offset") == "2"
    assert len(harp.findall("measure/figured-bass")) == 1


def test_a_tie_within_the_bar_that_is_cut_leaves_no_stroke() -> None:
    held = note("C5", 8, tie="start", voice=3) + note("C5", 8, tie="stop", voice=3)
    _, after = relaid(UPPER + line("r", "C5", "E5", "E5", voice=2) + backup(16) + held)
    assert [n.onset for n in after.notes if n.pitch.name == "C5"] == [0, 1]


def test_beams_go_by_the_beat_and_hooks_by_their_side() -> None:
    figure = note("G5", 3) + note("A5", 1) + note("B5", 1) + note("C6", 3) + note("G5", 8)
    harp, _ = relaid(figure + backup(16) + note("E5", 8, voice=2) + note("D5", 8, voice=2))
    beams = [[b.text for b in n.findall("beam")] for n in harp.iterfind("measure/note")
             if n.find("beam") is not None]
    assert beams == [["begin"], ["end", "backward hook"], ["begin", "forward hook"], ["end"]]


def slur(kind: str, number: int = 1) -> str:
    return f'<slur type="{kind}" number="{number}"/>'


def test_slurs_within_one_voice_stay_and_the_others_go() -> None:
    first = note("G5", notations=slur("start")) + note("A5", notations=slur("stop")) \
        + note("B5", notations=slur("start", 2)) + note("C6")
    second = backup(16) + note("E5", 8, voice=2) + note("D5", 8, voice=2,
                                                        notations=slur("stop", 2))
    root = score(part(attributes(2) + first + second))
    tree = read(as_harp_part(root, ("P1",)).root).root
    harp = tree.find("part")
    found = pairs(harp, "slur")
    assert len(found) == 2
    write_two_voices(harp, read(tree).score.measures, {}, {})
    keep_slurs(harp, found)
    assert not loose_slurs(harp)
    assert len(list(harp.iter("slur"))) == 2


def direction(content: str, staff: int = 1) -> str:
    return (f"<direction><direction-type>{content}</direction-type><staff>{staff}</staff>"
            "</direction>")


def loud(level: str, staff: int = 1) -> str:
    return direction(f"<dynamics><{level}/></dynamics>", staff)


def test_dynamics_stand_between_the_staves_and_are_not_said_twice() -> None:
    first = loud("p") + UPPER + backup(16) + loud("p", 2) + low("C3", 16)
    second = UPPER + backup(16) + loud("p", 2) + low("C3", 8) + loud("f", 2) + low("C3", 8)
    harp = score(part(attributes(2) + first, second)).find("part")
    one_line_of_dynamics(harp)
    assert [(d.findtext("staff"), d.find("direction-type/dynamics")[0].tag)
            for d in harp.iter("direction")] == [("1", "p"), ("1", "f")]


def test_a_level_in_force_is_known_by_when_it_takes_effect() -> None:
    late = loud("sf").replace("</direction-type>", "</direction-type><offset>4</offset>")
    first = loud("p") + late + loud("p").replace(
        "</direction-type>", "</direction-type><offset>2</offset>") + UPPER
    harp = score(part(attributes(2) + first)).find("part")
    one_line_of_dynamics(harp)
    assert [d.find("direction-type/dynamics")[0].tag for d in harp.iter("direction")] == ["p", "sf"]


def test_an_accent_stays_where_a_note_is_struck() -> None:
    harp = score(part(attributes(2) + note("G5", 8, tie="start") + loud("sf")
                      + note("r", 4) + loud("sf") + note("G5", 4))).find("part")
    one_line_of_dynamics(harp)
    (left,) = harp.iter("direction")
    assert left.getnext().find("pitch") is not None


def test_what_several_players_are_told_is_said_once() -> None:
    word = direction("<words>cresc.</words>")
    other = direction("<words>dolce</words>")
    whole = note("G5", 16)
    bars = [attributes(2) + word + note("G5", 8) + word + note("A5", 8), word + whole, whole,
            whole, word + whole, other + whole, word + whole]
    harp = score(part(*bars)).find("part")
    one_line_of_words(harp)
    assert [len(list(m.iter("words"))) for m in harp.findall("measure")] == [1, 0, 0, 0, 1, 1, 1]


def wedge(kind: str, number: int, staff: int = 1) -> str:
    return direction(f'<wedge type="{kind}" number="{number}"/>', staff)


def test_hairpins_do_not_cross() -> None:
    bar = (wedge("crescendo", 1) + note("G5", 8) + wedge("stop", 1) + note("A5", 8) + backup(16)
           + low("C3", 4) + wedge("diminuendo", 2, 2) + low("C3", 4) + wedge("stop", 2, 2)
           + low("C3", 8))
    harp = score(part(attributes(2) + bar)).find("part")
    keep_hairpins(harp, hairpins(harp))
    assert [w.get("type") for w in harp.iter("wedge")] == ["crescendo", "stop"]


def test_of_several_singers_words_the_highest_stay() -> None:
    def sung(name: str, text: str, voice: int) -> str:
        return note(name, 16, voice=voice).replace(
            "</note>", f'<lyric><text>{text}</text></lyric></note>')
    harp = score(part(attributes(2) + sung("C5", "high", 1) + backup(16)
                      + sung("A3", "low", 2))).find("part")
    one_line_of_words(harp)
    assert [t.text for t in harp.iter("text")] == ["high"]


@pytest.mark.parametrize(("start", "end", "names"), [
    ("0", "3", "half quarter"), ("1/2", "4", "eighth quarter half"),
    ("1/3", "1", "quarter/3"), ("0", "4/3", "quarter eighth/3"), ("2/3", "2", "eighth/3 quarter"),
    ("3/4", "3/2", "16th eighth"), ("0", "1/5", "16th/5")])
def test_rests_stand_on_their_beats(start: str, end: str, names: str) -> None:
    made = list(spelled(Fraction(start), Fraction(end)))
    assert " ".join(v.name + (f"/{v.ratio[0]}" if v.ratio else "") for v in made) == names
    assert sum(v.length for v in made) == Fraction(end) - Fraction(start)


def test_the_longest_single_value() -> None:
    lengths = {"5/2": ("half", 0), "3": ("half", 1), "5/8": ("eighth", 0), "2/3": ("quarter", 0),
               "7/3": ("half", 0), "1/3": ("eighth", 0)}
    for length, wanted in lengths.items():
        value = longest_value(Fraction(length))
        assert (value.name, value.dots) == wanted
        assert value.length <= Fraction(length)
    assert longest_value(min(NAMES) / 2) is None


HEADS = st.lists(st.tuples(st.integers(0, 7), st.integers(1, 8), st.integers(20, 40)),
                 min_size=1, max_size=12, unique_by=lambda h: (h[0], h[2]))


@settings(max_examples=60, deadline=None)
@given(HEADS)
def test_voices_hold_one_chord_each_at_a_time(rows) -> None:
    heads = [Head(etree.Element("note"), Fraction(o), Fraction(min(length, 8 - o)), p)
             for o, length, p in rows if o < 8]
    places = share(heads, lambda length: length)
    assert places.keys() == {h.note for h in heads}
    by_voice: dict[int, dict[Fraction, set[Fraction]]] = {1: {}, 2: {}, 3: {}}
    for head in heads:
        voice, length = places[head.note]
        assert 0 < length <= head.length
        by_voice[voice].setdefault(head.onset, set()).add(length)
    for chords in by_voice.values():
        assert all(len(lengths) == 1 for lengths in chords.values())
        spans = sorted((o, o + next(iter(lengths))) for o, lengths in chords.items())
        assert all(a[1] <= b[0] for a, b in pairwise(spans))


def test_chords_of_one_rhythm_cost_nothing() -> None:
    heads = [Head(etree.Element("note"), Fraction(o), Fraction(1), p)
             for o in range(4) for p in (30, 32, 35)]
    assert {place.voice for place in share(heads, lambda length: length).values()} == {1}


def test_a_chord_shares_its_articulation() -> None:
    dots = "<articulations><staccato/></articulations><fermata/>"
    harp, _ = relaid(note("G5", 16, notations=dots) + backup(16)
                     + note("E5", 16, voice=2, notations=dots))
    assert len(list(harp.iter("staccato"))) == 1
    assert len(list(harp.iter("fermata"))) == 1
    assert [len(e.notes) for e in events(harp.find("measure")) if not e.rest] == [2]
