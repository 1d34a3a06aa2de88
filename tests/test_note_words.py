"""Notes that a file names among words are drawn, and nothing leaves empty brackets."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest

from arranger.report.note_words import show_notes


def said(*signs: str) -> str:
    direction = ET.fromstring("<direction>" + "".join(
        f"<direction-type>{sign}</direction-type>" for sign in signs) + "</direction>")
    show_notes(direction)
    assert all(len(kind) for kind in direction)
    return "".join(word.text or "" for word in direction.iterfind("direction-type/words"))


@pytest.mark.parametrize(("named", "shown"), [
    ("quarter note", "Ruhig (♩)"), ("dotted half note", "Ruhig (\U0001d15e.)"),
    ("Eighth", "Ruhig (♪)"), ("swing", "Ruhig"), ("", "Ruhig")])
def test_a_note_named_among_words_is_drawn(named, shown):
    other = f"<other-direction>{named}</other-direction>"
    assert said("<words>Ruhig (</words>", other, "<words>)</words>") == shown


def test_other_words_stay():
    assert said("<words>Ruhig ()</words>") == "Ruhig ()"  # so its composer wrote
    assert said("<other-direction>quarter note</other-direction>") == ""
    assert said("<words>Ruhig</words>", "<other-direction>x</other-direction>") == "Ruhig"
