"""Fingers placed together, and which of them need to be printed."""

from __future__ import annotations

from fractions import Fraction

from arranger.model.draft import HarpNote
from arranger.model.pitch import Pitch
from arranger.model.placed_groups import finger_hints, placed_groups
from arranger.model.score import Note
from tests.handwritten import note as written_note
from tests.handwritten import piano
from tests.writing import LEFT, document_of, draft_of


def notes(text: str) -> list[HarpNote]:
    """``R C4:4 E4:3 | C5:1+E5:2`` : a hand and its grips, eighths; ``-`` is a crotchet rest."""
    made: list[HarpNote] = []
    for line in text.split(";"):
        hand, *grips = line.split()
        at = Fraction(0)
        for grip in grips:
            if grip == "-":
                at += 1
                continue
            for name, finger in (n.split(":") for n in grip.split("+")) if grip != "." else ():
                source = Note(f"{name}@{at}", "P1", 0, at, Fraction(1, 2), Pitch.parse(name))
                made.append(HarpNote(source, source.pitch, hand, int(finger) or None))
            at += Fraction(1, 2)
    return sorted(made, key=lambda n: (n.onset, n.pitch.midi))


def groups(text: str) -> list[str]:
    return [" ".join("+".join(n.pitch.name for n in grip) for grip in group)
            for group in placed_groups(notes(text))]


def test_four_fingers_up_and_down_are_groups():
    assert groups("R C4:4 E4:3 G4:2 C5:1 G4:2 E4:3 C4:4") == ["C4 E4 G4 C5", "G4 E4 C4"]


def test_a_crossing_begins_a_group():
    assert groups("R C4:4 D4:3 E4:2 F4:1 G4:4 A4:3") == ["C4 D4 E4 F4", "G4 A4"]


def test_chords_are_placed_with_what_lies_ahead_of_them():
    assert groups("L C3:4 E3:2+G3:1 C3:4") == ["C3 E3+G3", "C3"]
    assert groups("R C4:4+E4:3 C4:4+E4:3") == ["C4+E4", "C4+E4"]


def test_a_thumb_that_slides_begins_a_group_of_five():
    assert groups("R G5:1 F5:1 E5:2 D5:3 C5:4") == ["G5 F5 E5 D5 C5"]
    assert groups("R A5:1 G5:1 F5:1 E5:2") == ["A5 G5", "F5 E5"]
    assert groups("R E5:2 D5:1 C5:1") == ["E5", "D5 C5"]


def test_a_rest_lets_the_hand_go():
    assert groups("R C4:4 E4:3 - G4:2") == ["C4 E4", "G4"]
    assert groups("R C4:4 E4:3 . G4:2") == ["C4 E4 G4"]


def test_no_group_is_wider_than_the_hand():
    wide = "L C2:4 G2:3 E3:2 G3:1"
    assert groups(wide) == ["C2 G2 E3", "G3"]
    assert [" ".join(n.pitch.name for g in group for n in g)
            for group in placed_groups(notes(wide), span=7)] == ["C2 G2", "E3 G3"]
    assert groups("R C4:4+G4:3+E5:2+G5:1") == ["C4+G4+E5+G5"]  # one grip, rolled


def test_hands_apart_and_no_finger_no_group():
    assert groups("R C5:4 E5:3 ; L C3:4 E3:3") == ["C5 E5", "C3 E3"]
    assert groups("R C5:0 E5:3") == ["E5"]


def test_hints_are_first_fingers_and_changes_of_hand():
    def hints(text):
        found = notes(text)
        return [n.id for n in found if n.id in finger_hints(found)]

    assert hints("R C4:4 E4:3 G4:2 C5:1 G4:2") == ["C4@0", "G4@2"]
    assert hints("R C4:4+E4:3 G4:1") == ["C4@0"]
    assert hints("R C4:4+E4:3+C5:1") == ["C4@0", "E4@0", "C5@0"]
    assert hints("R C4:3+E4:2+G4:1 C4:3+E4:2+G4:1 D4:3+F4:2+A4:1") == ["C4@0", "D4@1"]
    assert hints("L C3:4 . . E3:3 ; R . C4:4 E4:3 .") == ["C3@0", "C4@1/2", "E3@3/2"]


def test_hints_are_fewer_than_all_and_printed():
    from lxml import etree

    from arranger.io.musicxml_write import write
    bar = "".join(written_note(n, 4) for n in ("C4", "E4", "G4", "C5"))
    document = document_of(piano(bar + LEFT))
    draft = draft_of(document, finger={"C4": 4, "E4": 3, "G4": 2, "C5": 1, "C2": 1})
    shown = {mode: [f.text for f in etree.fromstring(write(document, draft, fingering=mode)).iter(
        "fingering")] for mode in ("all", "hints", "none")}
    assert shown == {"all": ["4", "3", "2", "1", "1"], "hints": ["4", "1"], "none": []}
