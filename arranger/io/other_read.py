"""MIDI, MEI, Humdrum and ABC to a MusicXML tree, through music21.

music21 trusts what it reads: one absurd note length takes all memory of the machine (measured).
So it works in a process of its own (``other_convert``) with a limit of time and memory; that also
keeps its import, 0.3-0.5 s, and its warnings out of this one.
"""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

from lxml import etree

from arranger.io.files import read_bytes
from arranger.io.midi_check import check_midi
from arranger.io.musicxml_tree import parse
from arranger.io.timing import tell_rounded
from arranger.model.errors import SourceError

#: Suffix to the name music21 has for the format.
FORMATS = {".mid": "midi", ".midi": "midi", ".mei": "mei", ".krn": "humdrum", ".abc": "abc"}
LARGEST = 8 * 2**20
#: Quarter notes; an hour at crotchet 240 (assumption).
LONGEST = 15_000
#: Seconds a file may take, and bytes that allow it one more: 19,000 notes of MIDI, some 150,000
#: bytes, take music21 20 s (measured); a small file that takes long is built to do so.
SECONDS, BYTES_A_SECOND = 9, 4_000
#: Numbers of so many digits where a length or a metre stands are beyond any music.
_ABSURD = {
    "abc": re.compile(rb"^(?![A-KN-Za-z]:|%)[^\n%]*?\d{4}", re.MULTILINE),
    "humdrum": re.compile(rb"^(?![!*=])[^\n]*?\d{5}", re.MULTILINE)}


def load(path: Path) -> etree._Element:
    """Return the score-partwise root of the music in a .mid, .midi, .mei, .krn or .abc file.

    Raises
    ------
    SourceError
        The file cannot be read as what its suffix says; one line.
    """
    content = read_bytes(path, LARGEST)
    kind = FORMATS[path.suffix.lower()]
    if not content.strip():
        raise SourceError(f"{path}: the file is empty")
    off = notes = 0
    if kind == "midi":
        off, notes = check_midi(content, str(path), LONGEST)
    elif told := refusal(content, kind):
        raise SourceError(f"{path}: {told}")
    root = parse(_converted(path, kind, patience(content)), str(path))
    _settle(root)
    if off:
        tell_rounded(root, off, notes)
    return root


def refusal(content: bytes, kind: str) -> str:
    """Return why a text of this kind is not even tried, or nothing."""
    if b"<!ENTITY" in content:
        return "defines XML entities, which no score needs; not read"
    if kind in _ABSURD and (absurd := _ABSURD[kind].search(content)):
        line = content.count(b"\n", 0, absurd.end()) + 1
        return f"line {line}: a length or metre beyond any music"
    return ""


def patience(content: bytes) -> float:
    """Return the seconds a file of this size may take."""
    return SECONDS + len(content) / BYTES_A_SECOND


def _settle(root: etree._Element) -> None:
    """Replace what differs from run to run: random ids, and the date."""
    for date in list(root.iter("encoding-date")):
        parent = date.getparent()
        if parent is not None:
            parent.remove(date)
    renamed: dict[str, str] = {}
    for prefix, tag in (("P", "score-part"), ("I", "score-instrument")):
        for count, element in enumerate(root.iter(tag), start=1):
            renamed[element.get("id", "")] = f"{prefix}{count}"
    for element in root.iter("score-part", "part", "score-instrument", "midi-instrument",
                             "midi-device", "instrument"):
        ident = element.get("id")
        if ident is not None:
            element.set("id", renamed.get(ident, ident))


def _converted(path: Path, kind: str, seconds: float) -> bytes:
    command = [sys.executable, "-m", "arranger.io.other_convert", kind, str(LONGEST),
               str(path.resolve())]
    package_root = str(Path(__file__).resolve().parents[2])
    try:
        run = subprocess.run(command, capture_output=True, timeout=seconds, check=False,
                             stdin=subprocess.DEVNULL, cwd=package_root)
    except subprocess.TimeoutExpired as error:
        raise SourceError(f"{path}: takes more than {seconds:.0f} s to convert from {kind}; "
                          "export it as MusicXML") from error
    if run.returncode:
        lines = run.stderr.decode(errors="replace").strip().splitlines()
        why = lines[-1] if run.returncode == 1 and lines else "too big or damaged"
        raise SourceError(f"{path}: cannot be read as {kind}: {why[:200]}")
    return run.stdout
