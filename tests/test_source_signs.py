"""Harmonics, glissandi, rolled chords, damping and let-ring of a source: kept, and examined."""

from __future__ import annotations

from pathlib import Path

import pytest
from lxml import etree

from arranger.api import Request, check, convert
from tests.handwritten import backup, chord, low, note, piano

HARMONIC = "<technical><harmonic><natural/></harmonic></technical>"
GLISSANDO = '<glissando type="{}" number="1"/>'
LEFT = backup(16) + low("r", 16)


def saved(folder: Path, bar: str, tempo: int = 96) -> Path:
    root = piano(bar)
    first = root.find("part/measure")
    assert first is not None
    first.insert(1, etree.fromstring(f'<sound tempo="{tempo}"/>'))
    path = folder / "piece.musicxml"
    path.write_bytes(etree.tostring(root))
    return path


def kept(path: Path, *signs: str) -> dict[str, int]:
    """How often each sign stands in the draft of a file."""
    root = etree.fromstring(convert(Request(path, page=False)).files["draft.musicxml"])
    return {sign: len(root.findall(f".//{sign}")) for sign in signs}


def told(path: Path) -> set[str]:
    return {f["code"] for f in check(Request(path, page=False)).report["findings"]}


@pytest.mark.parametrize(("string", "fault"), [("C4", set()), ("C7", {"O1"}), ("E2", {"O1"})])
def test_harmonics(tmp_path: Path, string: str, fault: set[str]):
    """Best from A2 to G5 (Kuntz, post 1003; Orchestration Online, tip 68)."""
    path = saved(tmp_path, note(string, 16, notations=HARMONIC) + LEFT)
    assert kept(path, "harmonic") == {"harmonic": 1}
    assert told(path) & {"O1", "O2"} == fault


@pytest.mark.parametrize(("end", "fault"), [(True, {"L1"}), (False, {"L1", "L2"})])
def test_glissandi(tmp_path: Path, end: bool, fault: set[str]):
    """All seven letters sound, so the setting is wanted; and where the hand is to end."""
    stop = note("C6", 8, notations=GLISSANDO.format("stop")) if end else note("C6", 8)
    path = saved(tmp_path, note("C4", 8, notations=GLISSANDO.format("start")) + stop + LEFT)
    assert kept(path, "glissando") == {"glissando": 2 if end else 1}
    assert told(path) & {"L1", "L2", "L3"} == fault


@pytest.mark.parametrize(("length", "tempo", "fault"), [(16, 96, set()), (1, 200, {"H5"})])
def test_rolled_chords(tmp_path: Path, length: int, tempo: int, fault: set[str]):
    """A roll takes a share of the chord's value at most."""
    rolled = chord("C4 E4 G4 C5", length, notations="<arpeggiate/>").replace(
        "<staff>1</staff></note>", "<staff>1</staff><notations><arpeggiate/></notations></note>")
    rest = "" if length == 16 else note("r", 1) + note("r", 2) + note("r", 12)
    path = saved(tmp_path, rolled + rest + LEFT, tempo)
    assert kept(path, "arpeggiate") == {"arpeggiate": 4}
    assert told(path) & {"H5"} == fault


def test_damping_and_let_ring(tmp_path: Path):
    """Signs for the hand stay, and are read: a high string needs no damping."""
    mark = "<direction><direction-type><damp/></direction-type></direction>"
    bar = (note("E6", 8, notations='<tied type="let-ring"/>') + mark + note("r", 8) + LEFT)
    path = saved(tmp_path, bar)
    assert kept(path, "damp", "tied[@type='let-ring']") == {"damp": 1,
                                                           "tied[@type='let-ring']": 1}
    assert "M2" in told(path)
