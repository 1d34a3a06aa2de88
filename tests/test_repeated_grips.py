"""Fingers in the printed part: a chord that comes again at once shows them once."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from arranger.report.repeated_grips import thin_fingers
from tests.handwritten import attributes, backup, chord, note, part

HAND = "<technical><fingering>{}</fingering></technical>"


def grip(names: str, fingers: str, length: int = 4, ident: str = "", **more: object) -> str:
    """A chord with a finger to each note, lowest first."""
    notes = "".join(note(name, length, chord=k > 0, notations=HAND.format(finger), **more)  # type: ignore[arg-type]
                    for k, (name, finger) in enumerate(zip(names.split(), fingers, strict=True)))
    return notes.replace("<note>", f'<note id="{ident}">', 1) if ident else notes


def shown(*bars: str, groups: tuple[tuple[tuple[str, ...], ...], ...] = ()) -> list[str]:
    """The fingers left at each moment of the upper staff, lowest note first."""
    root = ET.fromstring(part(attributes() + bars[0], *bars[1:]))
    thin_fingers(root, groups)
    found: list[str] = []
    for one in root.iter("note"):
        if one.findtext("staff") == "1":
            here = "".join(f.text or "" for f in one.iter("fingering"))
            if one.find("chord") is not None:
                found[-1] += here
            else:
                found.append(here)
    return found


def test_a_chord_that_comes_again_shows_its_fingers_once_a_bar():
    bar = grip("C4 E4 G4", "321") * 4
    assert shown(bar, bar) == ["321", "", "", ""] * 2


def test_what_changes_is_shown():
    assert shown(grip("C4 E4", "21") + grip("C4 E4", "31") + grip("C4 F4", "31")
                 + grip("C5 F4", "31")) == ["21", "31", "31", "31"]
    assert shown(grip("C4 E4", "21") + grip("G4", "1") + grip("C4 E4", "21") + note("r")) == [
        "21", "1", "21", ""]


def test_single_notes_and_what_a_bracket_holds_keep_their_fingers():
    assert shown(grip("C4", "2") * 2) == ["2", "2"]
    bar = (grip("C4 E4", "43"), grip("C4 E4", "43", ident="n2"), grip("G4", "1", ident="n3"))
    assert shown("".join(bar), groups=((("n2",), ("n3",)),)) == ["43", "43", "1"]


def test_the_other_staff_does_not_interrupt():
    low = chord("C3 E3", 4, voice=5, staff=2)
    assert shown(grip("C4 E4", "21") * 4 + backup(16) + low * 4) == ["21", "", "", ""]
