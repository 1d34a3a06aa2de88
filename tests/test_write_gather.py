"""Voices that move alike on one staff become chords; nothing sounds otherwise for it."""

from __future__ import annotations

from copy import deepcopy

from arranger.io.musicxml_read import read
from arranger.io.write_gather import gather
from arranger.io.write_rests import hide_spare_rests
from tests.handwritten import attributes, backup, note, part, score
from tests.schema import validate
from tests.test_reduction import melody

UPPER = melody("G5", "A5", "B5", "C6")


def line(*names: str, voice: int, lengths: tuple[int, ...] = (4, 4, 4, 4)) -> str:
    return backup(16) + "".join(note(n, length, voice=voice)
                                for n, length in zip(names, lengths, strict=True))


def gathered(*lines: str):
    root = score(part(attributes(1) + UPPER + "".join(lines)))
    before = read(deepcopy(root)).score
    gather(root.find("part/measure"))
    after = read(deepcopy(root)).score
    assert [(n.onset, n.duration, n.pitch) for n in before.notes] == [
        (n.onset, n.duration, n.pitch) for n in after.notes]
    root.set("version", "4.0")
    from arranger.io.musicxml_write import serialise
    assert not validate(serialise(root))
    return root.find("part/measure"), after


def test_equal_rhythms_share_stems_and_the_empty_voice_leaves() -> None:
    measure, after = gathered(line("E5", "F5", "G5", "E5", voice=2),
                              line("C5", "D5", "D5", "G4", voice=3))
    assert {n.findtext("voice") for n in measure.findall("note")} == {"1"}
    assert len(measure.findall("note/chord")) == 8
    assert measure.find("backup") is None
    assert len({n.chord for n in after.notes}) == 4


def test_another_rhythm_keeps_its_voice() -> None:
    measure, _ = gathered(line("E5", "G5", voice=2, lengths=(8, 8)))
    assert {n.findtext("voice") for n in measure.findall("note")} == {"1", "2"}
    assert measure.find("note/chord") is None


def test_a_tie_is_not_shared_with_what_is_struck_anew() -> None:
    held = backup(16) + "".join(note("E5", 4, voice=2, tie=tie)
                                for tie in ("start", "stop start", "stop start", "stop"))
    measure, after = gathered(held)
    assert measure.find("note/chord") is None
    assert len(after.notes) == 5


def test_rests_of_a_voice_that_joined_are_not_seen() -> None:
    first = note("G5") + note("r") + note("B5") + note("r")
    second = backup(16) + note("E5", voice=2) + note("r", voice=2) + note("D5", voice=2) \
        + note("r", voice=2)
    root = score(part(attributes(1) + first + second))
    measure = root.find("part/measure")
    gather(measure)
    hide_spare_rests(measure)
    assert len(measure.findall("note/rest")) == 2
    assert len(measure.findall("note/chord")) == 2


def test_a_unison_is_written_once() -> None:
    root = score(part(attributes(1) + UPPER + line("G5", "F5", "B5", "E5", voice=2)))
    measure = root.find("part/measure")
    struck = {(n.onset, n.midi) for n in read(deepcopy(root)).score.notes}
    twins = gather(measure)
    assert len(twins) == 2
    assert len(measure.findall("note")) == 6
    assert {(n.onset, n.midi) for n in read(root).score.notes} == struck
