"""What a command proves of its own work: each fault that is put into a written file is found."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from arranger.api import Request, SelfCheckError, check, convert, pedals
from arranger.commands import checking, converting, marking
from tests.test_hostile_input import DIVISIONS, HEAD, NOTE, TAIL

SHARP = NOTE.replace("</step>", "</step><alter>1</alter>")
FLAT = NOTE.replace("</step>", "</step><alter>-1</alter>")
#: C natural, C sharp, C natural, with D and B natural beside them: the C pedal must move twice.
SOURCE = HEAD + DIVISIONS + "".join(
    c + NOTE.replace("<note>", "<note><chord/>").replace("C", "D")
    + NOTE.replace("<note>", "<note><chord/>").replace("C", "B")
    for c in (NOTE, SHARP, NOTE)) + TAIL
Change = Callable[[str], str]


def once(pattern: str, to: str) -> Change:
    """Change the last place where a pattern stands."""
    def change(text: str) -> str:
        *_, last = re.finditer(pattern, text, re.DOTALL)
        return text[:last.start()] + last.expand(to) + text[last.end():]
    return change


#: what is done to the file: (the change, words of the message)
FAULTS: dict[str, tuple[Change, str]] = {
    "another string of the same sound": (
        once(r"<step>C</step>\s*<alter>1</alter>", "<step>D</step><alter>-1</alter>"),
        "D♭4 was not meant|C♯4 is missing"),
    "the other hand": (once(r"<staff>1</staff>", "<staff>2</staff>"), "is missing|was not meant"),
    "a note later than planned": (
        once(r"<note id=\"n1\">", "<forward><duration>1</duration></forward><note id=\"n1\">"),
        "is missing|was not meant|agree"),
    "a move forgotten": (once(r"<words>C♯</words>", "<words>dolce</words>"),
                         "C♯4 with the pedal at ♮"),
    "a move too late": (once(r"(<words>C♮</words>.*?</direction-type>)(\s*<offset>.*?</offset>)?",
                             r"\1<offset>9</offset>"), "C4 with the pedal at ♯"),
    "a wrong setting at the start": (
        once(r"(<pedal-step>D</pedal-step>\s*<pedal-alter>)0", r"\g<1>1"),
        "D4 with the pedal at ♯"),
}


@pytest.fixture
def source(tmp_path: Path) -> Path:
    path = tmp_path / "part.musicxml"
    path.write_text(SOURCE)
    return path


def tampered(monkeypatch: pytest.MonkeyPatch, module: object, name: str, change: Change) -> None:
    """Let what a module writes be changed before it is looked at."""
    real = getattr(module, name)
    monkeypatch.setattr(module, name, lambda *args, **more: change(
        real(*args, **more).decode()).encode())


@pytest.mark.parametrize("kind", FAULTS)
def test_a_fault_in_a_written_draft_is_found(
        kind: str, source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    change, words = FAULTS[kind]
    convert(Request(source, page=False, verify=True))  # it is sound without the change
    monkeypatch.setattr(converting, "read_back", lambda *_: {})  # finds a part of them itself
    tampered(monkeypatch, converting, "write", change)
    with pytest.raises(SelfCheckError, match=words):
        convert(Request(source, page=False), tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_without_moves_on_paper_the_pedals_are_not_asked(source: Path) -> None:
    assert "C♯" not in convert(Request(source, page=False, pedals="diagrams")).files[
        "draft.musicxml"].decode()


@pytest.mark.parametrize(("command", "module"), [(check, checking), (pedals, marking)])
def test_a_changed_note_in_a_marked_part_is_found(
        command: Callable[..., object], module: object, source: Path,
        monkeypatch: pytest.MonkeyPatch) -> None:
    command(Request(source, page=False, verify=True))
    tampered(monkeypatch, module, "mark_part", once("<octave>4", "<octave>5"))
    with pytest.raises(SelfCheckError, match=r"bar 7: .+a note of the part was changed"):
        command(Request(source, page=False))


def test_check_replays_the_pedals_it_marked_when_asked(
        source: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tampered(monkeypatch, checking, "mark_part", once("C♯", "C♭"))
    assert check(Request(source, page=False)).files
    with pytest.raises(SelfCheckError, match="C♯4 with the pedal at ♭"):
        check(Request(source, page=False, verify=True))


def test_a_draft_that_would_change_again_is_found(
        source: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tampered(monkeypatch, converting, "write", once(r"<octave>4", "<octave>2"))
    for name in ("read_back", "proofread"):
        monkeypatch.setattr(converting, name, lambda *_: {})
    with pytest.raises(SelfCheckError, match="arranging the draft again would change it"):
        convert(Request(source, page=False, verify=True))
