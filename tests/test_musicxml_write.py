"""Writing drafts of small scores: notes left out, on other pitches, in the other hand."""

from __future__ import annotations

import pytest
from lxml import etree

from arranger.io.harp_part import as_harp_part
from tests.handwritten import backup, chord, note, piano
from tests.writing import LEFT, shown, written

# notes left out

def test_an_unchanged_draft_changes_nothing_but_the_diagram_and_the_ids():
    root = piano(chord("C4 E4", 8, beam="") + note("F#4", 8, accidental="sharp") + LEFT)
    harp = written(root)
    for direction in harp.findall("measure/direction"):
        direction.getparent().remove(direction)
    for n in harp.iter("note"):
        assert n.attrib.pop("id")
    source = as_harp_part(root, ("P1",)).root.findall("part")[-1]
    etree.indent(source, "  ", level=1)
    etree.indent(harp, "  ", level=1)
    assert etree.tostring(harp, with_tail=False) == etree.tostring(source, with_tail=False)


def test_a_chord_member_leaves_its_chord():
    assert shown(written(piano(chord("C4 E4 G4", 16) + LEFT), drop="E4")) == [
        "C4/1", "+G4/1", "C2/2"]


def test_the_next_note_inherits_what_belongs_to_the_chord():
    slur = '<slur type="{}" number="1"/>'
    bar = (chord("C4 E4", 2, beam="begin",
                 notations=slur.format("start") + "<articulations><staccato/></articulations>")
           + note("D4", 2, beam="end", notations=slur.format("stop")) + note("r", 12) + LEFT)
    harp = written(piano(bar), drop="C4")
    head = harp.find("measure/note")
    assert head.findtext("pitch/step") == "E"
    assert head.find("chord") is None
    assert head.findtext("beam") == "begin"
    assert head.find("notations/slur").get("type") == "start"
    assert head.find("notations/articulations/staccato") is not None


def test_a_lone_note_becomes_a_rest_of_its_value():
    bar = note("C4", 12, notations='<fermata/>') + note("D4", 4) + LEFT
    harp = written(piano(bar), drop="C4")
    rest = harp.find("measure/note")
    assert rest.find("rest") is not None
    assert [rest.findtext(t) for t in ("duration", "type", "voice", "staff")] == [
        "12", "half", "1", "1"]
    assert rest.find("dot") is not None
    assert rest.find("notations/fermata") is not None


def test_a_tied_note_goes_whole():
    bars = (note("C4", 16, tie="start") + LEFT, note("C4", 8, tie="stop") + note("D4", 8) + LEFT)
    harp = written(piano(*bars), drop="C4")
    assert harp.find(".//tie") is None
    assert harp.find(".//tied") is None


def test_a_tuplet_keeps_its_bracket_when_it_begins_with_a_rest():
    third = [note(n, 4, triplet=True, beam=b, notations=t) for n, b, t in (
        ("C4", "begin", '<tuplet type="start"/>'), ("D4", "continue", ""),
        ("E4", "end", '<tuplet type="stop"/>'))]
    root = piano("".join(third), beats=3)
    root.find(".//divisions").text = "6"
    harp = written(root, drop="C4")
    rest, *others = harp.findall("measure/note[staff='1']")
    assert rest.find("notations/tuplet").get("type") == "start"
    assert rest.find("time-modification") is not None
    assert [n.findtext("beam") for n in others] == ["begin", "end"]


@pytest.mark.parametrize(("drop", "beams"), [
    ("C4", ["", "begin", "continue", "end"]), ("F4", ["begin", "continue", "end", ""]),
    ("D4", ["begin", "", "continue", "end"]), ("C4 D4", ["", "", "begin", "end"]),
    ("C4 D4 E4", ["", "", "", ""]), ("C4 D4 E4 F4", ["", "", "", ""])])
def test_beams_never_begin_or_end_at_a_rest(drop, beams):
    states = ("begin begin", "continue end", "continue begin", "end end")
    bar = "".join(note(n, 1, beam=b) for n, b in zip(("C4", "D4", "E4", "F4"), states, strict=True))
    harp = written(piano(bar + note("r", 12) + LEFT), drop=drop)
    notes = harp.findall("measure/note")[:4]
    assert [n.findtext("beam") or "" for n in notes] == beams
    # a sixteenth keeps its second beam, as a hook if it stands alone
    if beams.count("") == 1:
        assert all(len(n.findall("beam")) == 2 for n in notes if n.find("rest") is None)


def test_a_grace_note_vanishes():
    bar = note("B4", grace=True) + note("C5", 16) + LEFT
    assert shown(written(piano(bar), drop="B4")) == ["C5/1", "C2/2"]


@pytest.mark.parametrize(("drop", "slurred"), [
    ("", ["C4", "F4"]), ("C4", ["D4", "F4"]), ("F4", ["C4", "E4"]), ("C4 F4", ["D4", "E4"]),
    ("D4 E4", ["C4", "F4"]), ("C4 D4 E4", []), ("C4 D4 E4 F4", [])])
def test_slurs_find_the_next_note(drop, slurred):
    slur = '<slur type="{}" number="1"/>'
    marks = {"C4": slur.format("start"), "F4": slur.format("stop")}
    bar = "".join(note(n, 4, notations=marks.get(n, "")) for n in ("C4", "D4", "E4", "F4"))
    harp = written(piano(bar + LEFT), drop=drop)
    assert [s.getparent().getparent().findtext("pitch/step") + "4"
            for s in harp.iter("slur")] == slurred


def test_a_slur_from_a_lost_grace_note_goes():
    bar = (note("B4", grace=True, notations='<slur type="start"/>')
           + note("C5", 16, notations='<slur type="stop"/>') + LEFT)
    assert written(piano(bar), drop="B4").find(".//slur") is None


def test_a_slide_needs_both_notes():
    bar = (note("C4", 8, notations='<glissando type="start"/>')
           + note("C5", 8, notations='<glissando type="stop"/>') + LEFT)
    assert written(piano(bar), drop="C5").find(".//glissando") is None
    assert len(written(piano(bar)).findall(".//glissando")) == 2


# pitch

def test_the_pitch_changes_on_all_tied_notes():
    bars = (note("F#4", 16, tie="start") + LEFT, note("F#4", 16, tie="stop") + LEFT)
    harp = written(piano(*bars), pitch={"F#4": "Gb4"})
    assert [n for n in shown(harp) if n.startswith("G")] == ["Gb4/1", "Gb4/1"]
    assert [a.text for a in harp.iter("accidental")] == ["flat"]


def test_duplicates_follow_together():
    bar = (note("E4", 16) + backup(16) + note("E4", 8, voice=2) + note("G4", 8, voice=2) + LEFT)
    harp = written(piano(bar), pitch={"E4": "Fb4"}, hand={"E4": "L"})
    assert shown(harp)[:3] == ["Fb4/2", "r/1", "G4/1"]  # once, as long as the longer
    stays = written(piano(bar), pitch={"E4": "Fb4"})
    assert shown(stays)[:3] == ["Fb4/1", "Fb4/1", "G4/1"]


# hands

def test_a_whole_chord_only_changes_its_staff():
    harp = written(piano(chord("C3 E3", 16) + LEFT), hand={"C3": "L", "E3": "L"})
    assert shown(harp) == ["C3/2", "+E3/2", "C2/2", "r/1"]
    assert [n.findtext("voice") for n in harp.iter("note")][:2] == ["1", "1"]


def test_part_of_a_chord_joins_a_chord_of_the_same_value():
    harp = written(piano(chord("C3 E4 G4", 16) + LEFT), hand={"C3": "L"})
    assert shown(harp) == ["E4/1", "+G4/1", "C2/2", "+C3/2"]
    assert harp.findall("measure/note")[3].findtext("voice") == "5"


def test_part_of_a_chord_takes_the_place_of_a_rest():
    bar = chord("C3 E4", 8) + note("G4", 8) + backup(16) + note("r", 8, voice=5, staff=2) + note(
        "C2", 8, voice=5, staff=2)
    harp = written(piano(bar), hand={"C3": "L"})
    assert shown(harp) == ["E4/1", "G4/1", "C3/2", "C2/2"]


def test_part_of_a_chord_stands_in_a_voice_of_its_own():
    slur = '<slur type="{}" number="1"/>'
    bar = (note("G4", 4, notations=slur.format("start"))
           + chord("C3 E4", 4, notations=slur.format("stop")
                   + "<articulations><accent/></articulations>")
           + note("G4", 8) + LEFT)
    harp = written(piano(bar), hand={"C3": "L"})
    assert shown(harp) == ["G4/1", "E4/1", "G4/1", "C2/2", "C3/2"]
    moved = harp.findall("measure/note")[-1]
    assert moved.findtext("voice") == "6"  # 1 and 5 are taken
    assert moved.findtext("type") == "quarter"
    assert moved.find("notations/slur") is None
    assert moved.find("notations/articulations/accent") is not None
    assert [s.getparent().getparent().findtext("pitch/step") for s in harp.iter("slur")] == [
        "G", "E"]


def test_moved_notes_of_different_value_stand_in_different_voices():
    bar = (chord("C3 E4", 8) + note("G4", 8) + backup(16) + chord("D3 F4", 4, voice=2)
           + note("A4", 12, voice=2) + LEFT)
    harp = written(piano(bar), hand={"C3": "L", "D3": "L"})
    moved = [n for n in harp.iter("note") if n.findtext("staff") == "2"]
    assert len({n.findtext("voice") for n in moved}) == 3


def test_parts_of_beamed_chords_are_beamed_in_the_other_hand():
    """By the beat, in a voice of their own; a note between two that stay has no beam."""
    beams = ("begin begin", "continue continue", "continue continue", "end end")
    for names, wanted in (("D3", ["begin begin", "continue continue", "continue continue",
                                  "end end"]),
                          ("D3 D3 G4 D3", ["begin begin", "end end", ""])):
        inner = (names.split() * 4)[:4]
        bar = "".join(chord(f"{n} {'B4' if n == 'G4' else 'G4'}", 1, beam=b)
                      for n, b in zip(inner, beams, strict=True)) + note("G4", 12) + LEFT
        harp = written(piano(bar), hand={"D3": "L"})
        moved = [n for n in harp.iter("note") if n.findtext("pitch/octave") == "3"]
        assert [" ".join(b.text for b in n.findall("beam")) for n in moved] == wanted
        assert {n.findtext("stem") for n in moved} <= {"up", None}


@pytest.mark.parametrize(("top", "wanted"), [("E5", ["up", "up"]), ("C4", ["down", "down"])])
def test_a_voice_turns_away_from_what_comes_to_its_staff(top, wanted):
    """Its stems go up above what came; they stay where that is not below it, or not beside it."""
    stem = "<stem>down</stem><staff>1</staff>"
    upper = "".join(note(top, 2, beam=b) for b in ("begin", "end", "begin", "end")).replace(
        "<staff>1</staff>", stem) + note("r", 8)
    lower = "".join(note(n, 2, voice=5, staff=2, beam=b) for n, b in (
        ("G4", "begin"), ("C3", "end"))) + note("r", 12, voice=5, staff=2)
    harp = written(piano(upper + backup(16) + lower), hand={"G4": "R"})
    stems = [n.findtext("stem") for n in harp.iter("note") if n.findtext("voice") == "1"
             and n.find("rest") is None]
    assert stems == [*wanted, "down", "down"]


@pytest.mark.parametrize(("below", "wanted"), [("D4", ["up"] * 4), ("", [None] * 4)])
def test_a_beam_over_another_voice_stays_there_when_a_note_goes_to_the_other_hand(below, wanted):
    """Else its stems would cross that voice on their way between the staves."""
    upper = "".join(note(n, 1, beam=b) for n, b in zip(
        ("F5", "E5", "C5", "A4"), ("begin begin", *["continue continue"] * 2, "end end"),
        strict=True)).replace("<staff>1</staff>", "<stem>up</stem><staff>1</staff>")
    lower = backup(4) + note(below, 4, voice=2) + note("r", 12, voice=2) if below else note("r", 12)
    harp = written(piano(upper + lower + LEFT), hand={"A4": "L"})
    run = [n for n in harp.iter("note") if n.find("beam") is not None]
    assert [n.findtext("staff") for n in run] == ["1", "1", "1", "2"]
    assert [n.findtext("stem") for n in run] == wanted


def test_a_tied_chord_splits_in_both_bars():
    bars = (chord("C3 E4", 16, tie="start") + LEFT, chord("C3 E4", 16, tie="stop") + LEFT)
    harp = written(piano(*bars), hand={"C3": "L"})
    assert shown(harp) == ["E4/1", "C2/2", "+C3/2", "E4/1", "C2/2", "+C3/2"]
    assert [t.get("type") for n in harp.iter("note") for t in n.findall("tie")] == [
        "start", "start", "stop", "stop"]


def test_a_string_of_two_voices_is_written_once_where_it_changes_staff():
    """The longer stays; what stands on its staff already stays in both voices."""
    low_voices = (note("E4", 4, voice=5, staff=2) + note("C3", 12, voice=5, staff=2) + backup(16)
                  + note("E4", 8, voice=6, staff=2) + note("C3", 8, voice=6, staff=2))
    bar = note("G4", 16) + backup(16) + low_voices
    assert shown(written(piano(bar))) == ["G4/1", "E4/2", "C3/2", "E4/2", "C3/2"]
    harp = written(piano(bar), hand={"E4": "R"})
    (moved,) = [n for n in harp.iter("note") if n.findtext("pitch/step") == "E"]
    assert (moved.findtext("staff"), moved.findtext("duration")) == ("1", "8")
    assert moved.get("id")
    joined = written(piano(bar.replace(note("G4", 16), note("E4", 16))), hand={"E4": "R"})
    (kept,) = [n for n in joined.iter("note") if n.findtext("pitch/step") == "E"]
    assert (kept.findtext("staff"), kept.findtext("duration")) == ("1", "16")


def test_the_end_of_a_tie_stands_after_its_start_in_the_file():
    """Joined to the right hand's chord, which comes first, it would tie to a later bar."""
    upper = note("C5", 8) + note("C5", 8)
    lower = note("E4", 8, voice=5, staff=2, tie="start") + chord(
        "A3 E4", 8, voice=5, staff=2).replace("<octave>4</octave></pitch>",
                                              "<octave>4</octave></pitch>@")
    head, tail = lower.split("@")
    tied = tail.replace("<voice>", '<tie type="stop"/><voice>', 1).replace(
        "</note>", '<notations><tied type="stop"/></notations></note>')
    harp = written(piano(upper + backup(16) + head + tied), hand={"E4": "R"})
    ties = [(t.get("type"), n.findtext("staff")) for n in harp.iter("note")
            for t in n.findall("tie")]
    assert ties == [("start", "1"), ("stop", "1")]
    assert shown(harp)[:2] == ["C5/1", "C5/1"]


def test_a_split_triplet_is_counted_out_unseen():
    third = [chord("C3 E4", 4, triplet=True) if i == 1 else note("G4", 4, triplet=True)
             for i in range(3)]
    root = piano("".join(third) + backup(12) + note("C2", 12, voice=5, staff=2), beats=3)
    root.find(".//divisions").text = "6"
    root.find(".//beats").text = "2"
    harp = written(root, hand={"C3": "L"})
    hidden, moved = harp.findall("measure/note")[-2:]
    assert hidden.get("print-object") == "no"
    assert hidden.find("rest") is not None
    assert moved.findtext("pitch/step") == "C"
    assert [t.get("type") for t in moved.iter("tuplet")] == ["start", "stop"]


def test_a_rest_gives_way_to_notes_from_the_other_staff():
    bar = note("C3", 16) + backup(16) + '<note><rest measure="yes"/><duration>16</duration>' \
        "<voice>5</voice><staff>2</staff></note>"
    harp = written(piano(bar), hand={"C3": "L"})
    assert shown(harp) == ["C3/2", "r/1"]


def test_a_split_grace_chord_leans_on_the_other_hand():
    bar = chord("B3 D5", grace=True) + note("C5", 16) + LEFT
    harp = written(piano(bar), hand={"B3": "L"})
    assert shown(harp) == ["D5/1", "C5/1", "B3/2", "C2/2"]


def test_what_changes_hands_turns_its_stems_away_from_the_other_voice():
    pair = "".join(note(n, 2, beam=b) for n, b in (("E3", "begin"), ("F3", "end")))
    bar = note("C5", 4) + pair + note("r", 8)
    low = backup(16) + note("C2", 16, voice=5, staff=2)
    harp = written(piano(bar + low), hand={"E3": "L", "F3": "L"})
    assert [n.findtext("stem") for n in harp.iter("note") if n.findtext("pitch/octave") == "3"] \
        == ["up", "up"]
    alone = backup(16) + note("r", 16, voice=5, staff=2)
    harp = written(piano(bar + alone), hand={"E3": "L", "F3": "L"})
    assert list(harp.iter("stem")) == []


def rests_of(harp, number: int) -> list[tuple[str, str, bool, bool]]:
    """Staff, duration, whether of the whole bar, whether seen, of the rests in a bar."""
    measure = harp.findall("measure")[number - 1]
    return [(n.findtext("staff"), n.findtext("duration"),
             n.find("rest").get("measure") == "yes", n.get("print-object") != "no")
            for n in measure.findall("note") if n.find("rest") is not None]


def test_a_whole_rest_gives_way_to_a_voice_from_the_other_staff():
    whole = ('<note><rest measure="yes"/><duration>16</duration><voice>1</voice><staff>1</staff>'
             "</note>")
    crossing = "".join(note(name, 4, voice=5, staff=staff)
                       for name, staff in (("C3", 2), ("G3", 2), ("C5", 1), ("E5", 1)))
    harp = written(piano(whole + backup(16) + crossing))
    assert not any(seen for _, _, _, seen in rests_of(harp, 1))
    beside = written(piano(whole + backup(16) + note("C3", 16, voice=5, staff=2)))
    assert rests_of(beside, 1) == [("1", "16", True, True)]


@pytest.mark.parametrize(("bar", "staff"), [
    (note("C4", 16), "2"), (note("C3", 16, voice=5, staff=2), "1"),
    (note("C4", 16) + backup(16) + note("r", 16, voice=5, staff=2).replace(
        "<note>", '<note print-object="no">'), "2")])
def test_a_staff_on_which_nothing_stands_shows_a_rest(bar, staff):
    harp = written(piano(note("C4", 16) + LEFT, bar))
    (where, lasts, _, seen), = rests_of(harp, 2)
    assert (where, lasts, seen) == (staff, "16", True)
    again = as_harp_part(harp.getroottree().getroot(), ("P1",)).root.findall("part")[-1]
    assert rests_of(again, 2) == rests_of(harp, 2)
