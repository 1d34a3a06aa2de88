"""``pedals``: the composer's own file, only added to; what is marked is what the plan says."""

from __future__ import annotations

from pathlib import Path

import pytest
from lxml import etree

from arranger.api import Request, check, pedals
from arranger.io.musicxml_tree import parse
from arranger.io.musicxml_tree import text_of as text
from arranger.io.part_marks import read_marks
from arranger.model.errors import ChoiceError, SourceError
from tests.checking import FILES
from tests.handwritten import attributes, note, part, score, words
from tests.test_mark_part import is_added_to, text_of

SLOW = ("<direction><direction-type><words>Lento</words></direction-type>"
        '<sound tempo="40"/></direction>')
OF_MARKS = {"P6", "P7", "P8", "P9", "P10", "P11", "N1"}


@pytest.fixture
def source(tmp_path: Path) -> Path:
    path = tmp_path / "part.musicxml"
    path.write_bytes(text_of(SLOW + note("F4", 8) + note("A4", 8), note("F#4", 8) + note("Bb4", 8),
                             '<direction><direction-type><rehearsal>A</rehearsal></direction-type>'
                             "</direction>" + note("F4", 8) + note("B4", 8)))
    return path


def marked(source: Path, which: str = "all") -> bytes:
    return pedals(Request(source, pedals=which, page=False)).files["marked.musicxml"]


def test_the_file_is_only_added_to(source: Path) -> None:
    assert is_added_to(source.read_bytes(), marked(source))
    assert b"<!-- by hand -->" in marked(source)


@pytest.mark.parametrize(("which", "diagrams", "words"), [
    ("all", 2, True), ("changes", 1, True), ("diagrams", 2, False), ("none", 0, False)])
def test_what_is_printed_can_be_chosen(source: Path, which: str, diagrams: int,
                                       words: bool) -> None:
    out = marked(source, which)
    assert out.count(b"<harp-pedals>") == diagrams
    assert ("F♯".encode() in out) == words


def test_a_part_marked_twice_is_marked_once(source: Path, tmp_path: Path) -> None:
    again = tmp_path / "again.musicxml"
    again.write_bytes(marked(source))
    assert marked(again) == again.read_bytes()


def test_the_check_finds_no_fault_in_the_marks(source: Path, tmp_path: Path) -> None:
    path = tmp_path / "again.musicxml"
    path.write_bytes(marked(source))
    found = check(Request(path, page=False)).report["findings"]
    assert [f["message"] for f in found if f["code"] in OF_MARKS] == []


@pytest.fixture
def clash(tmp_path: Path) -> Path:
    """G sharp beside G natural: the harpist plucks A flat."""
    path = tmp_path / "clash.musicxml"
    path.write_bytes(text_of(
        SLOW + note("G3", 8) + note("G#4", 8, chord=True) + note("G4", 8),
        note("G#4", 8) + note("G3", 8, chord=True) + note("C4", 8)))
    return path


def test_a_note_read_on_another_letter_names_its_string(clash: Path, tmp_path: Path) -> None:
    out = marked(clash)
    assert is_added_to(clash.read_bytes(), out)
    assert out.count(b">(A\xe2\x99\xad)<") == 2
    assert "(" not in marked(clash, "none").decode().split("<part ")[1]
    again = tmp_path / "again.musicxml"
    again.write_bytes(out)
    assert marked(again) == out
    found = check(Request(again, page=False)).report["findings"]
    assert [f["message"] for f in found if f["code"] in OF_MARKS - {"N1"}] == []


def test_brackets_that_name_no_string_are_a_pedal_change(tmp_path: Path) -> None:
    path = tmp_path / "part.musicxml"
    path.write_bytes(text_of(words("(F♯)") + note("F#4", 8) + note("A4", 8)))
    root = parse(path.read_bytes(), "part")
    assert [m.alters for m in read_marks(root, "P1").pedals] == [{"F": 1}]
    path.write_bytes(text_of(words("(F♯)") + note("Gb4", 8) + note("A4", 8)))
    assert not read_marks(parse(path.read_bytes(), "part"), "P1").pedals


def test_what_cannot_be_marked_is_refused(tmp_path: Path, source: Path) -> None:
    with pytest.raises(ChoiceError, match="lever-34 has no pedals to mark"):
        pedals(Request(source, harp="lever-34"))
    silent = tmp_path / "silent.musicxml"
    root = score(part(attributes() + note("r", 16)), names=("Harp",))
    silent.write_bytes(etree.tostring(root))
    with pytest.raises(SourceError, match="no notes"):
        pedals(Request(silent))


def fault_free(path: Path, folder: Path) -> None:
    """What either command marks is read back, and the check finds no fault in the marks."""
    original = text(path)
    assert original is not None
    for command in (pedals, check):
        made = command(Request(path, page=False)).files["marked.musicxml"]
        assert command is check or is_added_to(original, made)
        again = folder / f"{command.__name__}.musicxml"
        again.write_bytes(made)
        found = check(Request(again, page=False)).report["findings"]
        assert [f for f in found if f["code"] in OF_MARKS - {"N1"}] == []


@pytest.mark.skipif(not FILES, reason="no data")
@pytest.mark.parametrize("path", FILES[3:7], ids=lambda p: p.stem[-40:])
def test_marks_of_real_parts_have_no_fault(path: Path, tmp_path: Path) -> None:
    fault_free(path, tmp_path)


@pytest.mark.campaign
@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem[-40:])
def test_marks_of_all_real_parts_have_no_fault(path: Path, tmp_path: Path) -> None:
    fault_free(path, tmp_path)
