"""What the writer adds to the notes: accidentals, rolls, fingers, ids and pedals."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

import pytest
from lxml import etree

from arranger.io.musicxml_write import write
from arranger.model.draft import Draft, HarpNote, PedalMove, PedalPlan
from arranger.model.harp import PEDALS, HarpString, PedalSetting
from tests.handwritten import attributes, backup, chord, note, part, piano, score
from tests.writing import HAND, LEFT, checked, document_of, draft_of, written

# accidentals

def _signs(harp: etree._Element) -> list[str]:
    return [n.findtext("accidental") or "" for n in harp.iterfind("measure/note")
            if n.findtext("staff") == "1"]


@pytest.mark.parametrize(("names", "fifths", "signs"), [
    (("F#4", "F#4", "F4", "F4"), 0, ["sharp", "", "natural", ""]),
    (("F#4", "F#5", "F4", "F#5"), 0, ["sharp", "sharp", "natural", ""]),
    (("F#4", "F4", "G4", "F#4"), 1, ["", "natural", "", "sharp"]),
    (("Bb4", "B4", "Eb4", "Bb4"), -3, ["", "natural", "", "flat"]),
    (("F##4", "F#4", "Bbb4", "Bb4"), 0, ["double-sharp", "sharp", "flat-flat", "flat"])])
def test_accidentals_hold_for_their_line_to_the_end_of_the_bar(names, fifths, signs):
    bar = "".join(note(n, 4) for n in names) + LEFT
    assert _signs(written(piano(bar, fifths=fifths))) == signs


def test_a_new_bar_forgets_and_a_tie_over_the_barline_needs_none():
    bars = (note("F#4", 16, tie="start") + LEFT,
            note("F#4", 4, tie="stop") + note("F#4", 4) + note("F4", 8) + LEFT)
    assert _signs(written(piano(*bars))) == ["sharp", "", "sharp", "natural"]


def test_voices_of_a_staff_share_accidentals_in_time_order():
    bar = note("r", 8) + note("F#4", 8) + backup(16) + note("F4", 8, voice=2) + note(
        "F#4", 8, voice=2) + LEFT
    # at beat three both voices strike F sharp together: both notes are judged against the bar
    signs = _signs(written(piano(bar)))
    assert signs.count("sharp") == 1
    assert signs[2] == ""


def test_two_accidentals_on_one_line_are_both_shown():
    bar = note("F#4", 16) + backup(16) + note("F4", 16, voice=2) + LEFT
    assert _signs(written(piano(bar))) == ["sharp", "natural"]


def test_a_respelled_note_gets_its_sign_and_the_next_a_courtesy():
    bars = (note("F#4", 8) + note("A4", 8) + LEFT, note("G4", 16) + LEFT, note("G4", 16) + LEFT)
    harp = written(piano(*bars), pitch={"F#4": "Gb4"})
    found = [(a.text, a.get("cautionary")) for a in harp.iter("accidental")]
    assert found == [("flat", None), ("natural", "yes")]


def test_courtesy_signs_of_the_source_stay_on_unchanged_notes():
    bars = (note("F#4", 16) + LEFT, note("F4", 8, accidental="natural") + note("A4", 8) + LEFT)
    assert _signs(written(piano(*bars))) == ["sharp", "natural", ""]


def test_a_sign_whose_reason_is_gone_goes():
    bar = note("F#4", 8, accidental="sharp") + note("F4", 8, accidental="natural") + LEFT
    assert _signs(written(piano(bar), drop="F#4")) == ["", ""]


# marks

def test_rolls_are_written_at_every_note_of_the_chord_and_nowhere_else():
    bar = chord("C4 E4", 8, notations="<arpeggiate/>") + chord("F4 A4", 8) + LEFT
    harp = written(piano(bar), rolled="F4 A4")
    rolled = [n.findtext("pitch/step") for n in harp.iter("note")
              if n.find("notations/arpeggiate") is not None]
    assert rolled == ["F", "A"]
    assert all("number" not in a.attrib for a in harp.iter("arpeggiate"))


def test_a_roll_over_both_hands_is_one_sign():
    harp = written(piano(chord("C4 E4", 16) + LEFT), rolled="C4 E4 C2")
    assert [a.get("number") for a in harp.iter("arpeggiate")] == ["1", "1", "1"]


def test_a_sign_against_rolling_stays():
    bar = chord("C4 E4", 16, notations='<non-arpeggiate type="bottom"/>') + LEFT
    assert written(piano(bar)).find(".//non-arpeggiate") is not None
    assert written(piano(bar), rolled="C4 E4").find(".//non-arpeggiate") is None


def test_fingers_are_written_or_left_out():
    document = document_of(piano(chord("C4 E4", 16) + LEFT))
    draft = draft_of(document, finger={"C4": 2, "E4": 1})
    harp = checked(document, draft)
    assert [(f.text, f.getparent().getparent().getparent().findtext("pitch/step"))
            for f in harp.iter("fingering")] == [("2", "C"), ("1", "E")]
    assert checked(document, draft, fingering="none").find(".//fingering") is None


def test_struck_notes_carry_their_id_and_no_one_else_does():
    voice = part(attributes(1) + note("C5", 16).replace("<note>", '<note id="n2">'), ident="P2")
    root = score(part(attributes() + note("E4", 16, tie="start") + LEFT,
                      note("E4", 16, tie="stop") + LEFT), voice, names=("Piano", "Voice"))
    document = document_of(root)
    draft = draft_of(document)
    out = etree.fromstring(write(document, draft))
    ids = [e.get("id") for e in out.iter("note") if e.get("id")]
    assert sorted(ids) == sorted(n.id for n in draft.notes)
    assert len(out.findall(".//part[@id='P1']//note[@id]")) == len(draft.notes)


# pedals

def _plan(*moves: tuple[Fraction | int, str, int, int],
          fixed: Mapping[HarpString, int] | None = None) -> PedalPlan:
    return PedalPlan(
        PedalSetting.parse("D C Bb Eb F G A"),
        tuple(PedalMove(Fraction(at), 0.0, p, a, b) for at, p, a, b in moves), fixed or {})


def _directions(harp: etree._Element) -> list[tuple[str, str, str]]:
    found = []
    for measure in harp.findall("measure"):
        for d in measure.findall("direction"):
            text = "|".join(f"[{w.text}]" if w.get("enclosure") else w.text or ""
                            for w in d.iter("words") if (w.text or "").strip())
            found.append((measure.get("number"), text or "diagram", d.findtext("offset") or ""))
    return found


BARS = tuple(note("C4", 8) + note("D4", 8) + LEFT for _ in range(3))


def test_the_opening_diagram_stands_before_the_first_note():
    harp = written(piano(*BARS), plan=_plan())
    first = harp.find("measure")
    tags = [c.tag for c in first]
    assert tags.index("direction") < tags.index("note")
    tunings = [(t.findtext("pedal-step"), t.findtext("pedal-alter"))
               for t in first.iter("pedal-tuning")]
    assert "".join(s for s, _ in tunings) == PEDALS
    assert dict(tunings) == {"D": "0", "C": "0", "B": "-1", "E": "-1", "F": "0", "G": "0",
                             "A": "0"}
    assert first.find("direction").get("placement") == "below"
    assert first.find("direction").findtext("staff") == "2"


def test_later_diagrams_show_the_setting_in_force():
    document = document_of(piano(*BARS))
    harp = checked(document, draft_of(document, plan=_plan((2, "F", 0, 1), (8, "C", 0, -1))),
                    diagrams_at=(Fraction(4), Fraction(8)))
    shown = [{t.findtext("pedal-step"): t.findtext("pedal-alter") for t in d.iter("pedal-tuning")}
             for d in harp.iter("harp-pedals")]
    assert [(d["F"], d["C"]) for d in shown] == [("0", "0"), ("1", "0"), ("1", "-1")]


def test_moves_of_a_moment_are_one_direction_right_foot_first():
    harp = written(piano(*BARS), plan=_plan((2, "C", 0, -1), (2, "F", 0, 1), (6, "A", 0, 1)))
    assert _directions(harp) == [("1", "diagram", ""), ("1", "F♯ C♭", ""), ("2", "A♯", "")]


def test_a_move_of_two_notches_is_boxed_and_explained_once():
    harp = written(piano(*BARS), plan=_plan((2, "B", -1, 1), (2, "F", 0, 1), (4, "E", -1, 1)))
    assert _directions(harp)[1:] == [("1", "boxed: two notches", ""), ("1", "F♯|[B♯]", ""),
                                     ("2", "[E♯]", "")]


@pytest.mark.parametrize(("at", "offset", "divisions"), [
    (Fraction(3), "4", "4"), (Fraction(5, 2), "2", "4"), (Fraction(7, 3), "4", "12")])
def test_a_move_between_notes_stands_at_the_note_before(at, offset, divisions):
    harp = written(piano(*BARS), plan=_plan((at, "F", 0, 1)))
    assert _directions(harp)[1] == ("1", "F♯", offset)
    assert harp.findtext(".//divisions") == divisions
    follows = [c.tag for c in harp.find("measure")]
    assert follows.index("direction") < follows.index("note")


def test_fixed_strings_are_tuned_at_the_head():
    harp = written(piano(*BARS), plan=_plan(fixed={HarpString(7): -1, HarpString(8): 0}))
    assert _directions(harp) == [("1", "tune low C to C♭", ""), ("1", "diagram", "")]


def test_own_pedals_are_replaced_not_doubled():
    document = document_of(piano(*BARS))
    draft = draft_of(document, plan=_plan((2, "B", -1, 1), (3, "F", 0, 1),
                                        fixed={HarpString(7): -1}))
    first = write(document, draft)
    again = document_of(etree.fromstring(first))
    second = write(again, Draft(again.score, "P1", tuple(
        HarpNote(n, n.pitch, HAND[n.staff]) for n in again.score.part_notes("P1")), draft.plan))
    assert second == first
