"""MIDI, MEI, Humdrum and ABC come through music21; what is bad in them is refused in one line."""

from __future__ import annotations

import time
from fractions import Fraction as F
from pathlib import Path

import pytest
from lxml import etree

from arranger.io import other_read
from arranger.io.midi_check import check_midi
from arranger.io.musicxml_read import read
from arranger.io.source import open_source
from arranger.model.errors import SourceError

ABC = "X:1\nT:Scale\nM:4/4\nL:1/4\nQ:1/4=80\nK:D\nDE FG|A4|\n"
KERN = ("**kern\t**kern\n*clefF4\t*clefG2\n*M4/4\t*M4/4\n=1\t=1\n2C\t4e-\n.\t4f#\n2GG\t2g\n"
        "==\t==\n*-\t*-\n")
MEI = """<?xml version="1.0"?><mei xmlns="http://www.music-encoding.org/ns/mei"><music><body><mdiv>
<score><scoreDef meter.count="3" meter.unit="4"><staffGrp><staffDef n="1" lines="5" clef.shape="G"
clef.line="2"/></staffGrp></scoreDef><section><measure n="1"><staff n="1"><layer n="1">
<note pname="c" oct="5" dur="4"/><note pname="b" oct="4" dur="2" accid="f"/></layer></staff>
</measure></section></score></mdiv></body></music></mei>"""


def track(*events: bytes) -> bytes:
    body = b"".join((*events, b"\0\xff\x2f\0"))
    return b"MTrk" + len(body).to_bytes(4, "big") + body


def midi(*tracks: bytes, division: bytes = b"\0\x60") -> bytes:
    return b"MThd\0\0\0\6\0\1" + len(tracks).to_bytes(2, "big") + division + b"".join(tracks)


def strike(key: int, ticks: bytes = b"\x60") -> bytes:
    return bytes([0, 0x90, key, 64]) + ticks + bytes([0x80, key, 0])


GOOD = midi(track(strike(60), strike(64), strike(67)))
ENDLESS = midi(track(*[strike(60, b"\xff\xff\xff\x7f")] * 3))


def notes(path: Path) -> list[tuple[str, F, F]]:
    score = read(open_source(path), str(path)).score
    return [(note.pitch.name, note.onset, note.duration) for note in score.notes]


@pytest.mark.parametrize(("suffix", "content", "expected"), [
    (".abc", ABC, [("D4", 0, 1), ("E4", 1, 1), ("F#4", 2, 1), ("G4", 3, 1), ("A4", 4, 4)]),
    (".krn", KERN, [("C3", 0, 2), ("Eb4", 0, 1), ("F#4", 1, 1), ("G2", 2, 2), ("G4", 2, 2)]),
    (".mei", MEI, [("C5", 0, 1), ("Bb4", 1, 2)]),
    (".mid", GOOD, [("C4", 0, 1), ("E4", 1, 1), ("G4", 2, 1)]),
    (".MIDI", GOOD, [("C4", 0, 1), ("E4", 1, 1), ("G4", 2, 1)])])
def test_each_format_is_read(suffix: str, content: str | bytes,
                             expected: list[tuple[str, F, F]], tmp_path: Path) -> None:
    path = tmp_path / f"score{suffix}"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    assert notes(path) == expected


def test_the_tree_is_the_same_every_time(tmp_path: Path,
                                         capfd: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "score.mid"
    path.write_bytes(midi(track(strike(60)), track(strike(48))))
    first, second = (etree.tostring(open_source(path)) for _ in range(2))
    assert first == second
    assert b"encoding-date" not in first
    assert capfd.readouterr() == ("", "")
    score = read(open_source(path)).score
    assert [part.id for part in score.parts] == ["P1", "P2"]
    assert score.title == ""


BAD: dict[str, tuple[str, str | bytes, str]] = {
    "empty": (".mid", b"", "the file is empty"),
    "no MIDI": (".mid", b"RIFF" + b"\0" * 40, "not a standard MIDI file"),
    "cut MIDI": (".mid", GOOD[:-9], "truncated or damaged MIDI"),
    "cut inside an event": (".mid", midi(b"MTrk\0\0\0\2\0\x90"), "truncated or damaged MIDI"),
    "endless delta": (".mid", midi(track(b"\xff\xff\xff\xff\x7f\x90\x3c\x40")), "truncated"),
    "endless MIDI": (".mid", ENDLESS, "lasts more than 15000 quarter notes"),
    "MIDI in frames": (".mid", midi(track(strike(60)), division=b"\xe8\x28"), "SMPTE"),
    "MIDI of no length": (".mid", midi(track(strike(60)), division=b"\0\0"), "no length"),
    "MIDI without tracks": (".mid", midi(), "no events"),
    "MIDI without notes": (".mid", midi(track()), "no notes"),
    "words as kern": (".krn", "Dear harpist,", "cannot be read as humdrum"),
    "endless kern": (".krn", "**kern\n0000000001c\n*-\n", "line 2: a length or metre"),
    "long kern": (".krn", "**kern\n*M4/4\n" + "0000c\n" * 3000 + "*-\n", "lasts more than"),
    "words as ABC": (".abc", "Dear harpist,", "cannot be read as abc"),
    "endless ABC": (".abc", ABC.replace("A4", "A99999999"), "line 7: a length or metre"),
    "long ABC": (".abc", ABC.replace("A4", "A9999|A9999"), "line 7: a length or metre"),
    "endless metre": (".abc", ABC.replace("4/4", "9999999/1"), "line 3: a length or metre"),
    "two tunes": (".abc", ABC + "\n" + ABC.replace("X:1", "X:2"), "holds 2 tunes"),
    "MEI without namespace": (".mei", "<mei/>", "cannot be read as mei"),
    "cut MEI": (".mei", MEI[:-40], "cannot be read as mei"),
    "laughing MEI": (".mei", MEI.replace("<mei ", '<!DOCTYPE mei [<!ENTITY a "ha">]><mei '),
                     "XML entities"),
}


@pytest.mark.parametrize("kind", BAD)
def test_bad_input_is_refused_in_one_line(kind: str, tmp_path: Path,
                                          capfd: pytest.CaptureFixture[str]) -> None:
    suffix, content, words = BAD[kind]
    path = tmp_path / f"bad{suffix}"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    begun = time.perf_counter()
    with pytest.raises(SourceError) as caught:
        read(open_source(path), str(path))
    assert time.perf_counter() - begun < 5  # music21 has a process of its own, started cold
    message = str(caught.value)
    assert message.startswith(f"{path}: ")
    assert words in message
    assert "\n" not in message
    assert capfd.readouterr() == ("", "")


def test_what_takes_too_long_is_given_up(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "slow.abc"
    path.write_text(ABC)
    monkeypatch.setattr(other_read, "SECONDS", 0.01)
    with pytest.raises(SourceError, match=r"takes more than 0 s to convert from abc"):
        open_source(path)


def test_running_status_and_system_messages_are_followed() -> None:
    sysex = b"\0\xf0\x03\x01\x02\xf7"
    check_midi(midi(track(sysex, b"\0\x90\x3c\x40", b"\x60\x3c\0", b"\0\xc0\x2e")), "x", 10)
    with pytest.raises(SourceError, match="x: truncated"):
        check_midi(midi(track(b"\0\x3c\x40")), "x", 10)  # data before any status
