"""A small draft and its report, shaped as the README's contract says, for the report's tests.

Two bars of 4/4 in E flat for harp, written by hand: bar 1 has a full pedal diagram and two moves,
bar 2 a second diagram. Note ids are n1 ... n8.
"""

from __future__ import annotations

from typing import Any

from arranger.report.html import drawn_for
from arranger.report.html import page as page_of_drawn
from arranger.report.page_time import Source

_HEAD = """<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0">
  <work><work-title>{title}</work-title></work>
  <part-list><score-part id="P1"><part-name>Harp</part-name></score-part></part-list>
  <part id="P1">
"""
_TUNING = "".join(
    f"<pedal-tuning><pedal-step>{step}</pedal-step><pedal-alter>{alter}</pedal-alter>"
    f"</pedal-tuning>"
    for step, alter in zip("DCBEFGA", (0, 0, -1, -1, 0, 0, -1), strict=True))
_PEDALS = (f'<direction placement="above"><direction-type><harp-pedals>{_TUNING}</harp-pedals>'
           "</direction-type><staff>1</staff></direction>")
_MOVE = ('<direction placement="below"><direction-type><words>{words}</words></direction-type>'
         "<staff>2</staff></direction>")

NO_SOURCE = Source()


def _note(name: str, step: str, alter: int, octave: int, staff: int, chord: bool = False) -> str:
    sign = f"<alter>{alter}</alter>" if alter else ""
    return (f'<note id="{name}">{"<chord/>" if chord else ""}<pitch><step>{step}</step>{sign}'
            f"<octave>{octave}</octave></pitch><duration>2</duration><voice>{staff}</voice>"
            f"<type>half</type><staff>{staff}</staff></note>")


def page(report: dict[str, Any], draft: bytes, source: Source = NO_SOURCE) -> str:
    """Return the page of a report, its draft engraved."""
    return page_of_drawn(report, drawn_for(report, draft, source), source)


def sample_draft(title: str = "Evening at the mill") -> bytes:
    """Return the draft as MusicXML; ``title`` must be escaped already."""
    back = "<backup><duration>4</duration></backup>"
    first = (_PEDALS + _note("n1", "E", -1, 5, 1) + _MOVE.format(words="F♯")
             + _note("n2", "F", 1, 5, 1) + back + _note("n3", "E", -1, 3, 2)
             + _note("n4", "A", -1, 2, 2))
    second = (_PEDALS + _note("n5", "G", 0, 5, 1) + _note("n6", "G", 0, 4, 1, True)
              + _note("n7", "B", -1, 4, 1) + back + _note("n8", "E", -1, 3, 2)
              + "<note><rest/><duration>2</duration><voice>2</voice><type>half</type>"
                "<staff>2</staff></note>")
    attributes = ("<attributes><divisions>1</divisions><key><fifths>-3</fifths></key><time>"
                  "<beats>4</beats><beat-type>4</beat-type></time><staves>2</staves>"
                  '<clef number="1"><sign>G</sign><line>2</line></clef>'
                  '<clef number="2"><sign>F</sign><line>4</line></clef></attributes>')
    body = (f'<measure number="1">{attributes}{first}</measure>'
            f'<measure number="2">{second}</measure></part></score-partwise>')
    return (_HEAD.replace("{title}", title) + body).encode()


def _sounding(name: str, onset: str, midi: int, pitch: str) -> dict[str, Any]:
    return {"id": name, "onset": onset, "midi": midi, "name": pitch}


def _drafted(name: str, onset: str, midi: int, string: str, hand: str,
             bar: int) -> dict[str, Any]:
    beat = str(int(onset) % 4 + 1)
    return {"id": name, "source_ids": [name, f"{name}-double"], "onset": onset, "duration": "2",
            "midi": midi, "string": string, "hand": hand, "finger": None, "bar": str(bar),
            "bar_index": bar, "beat": beat, "grace": False, "rolled": False}


def _entry(number: int, kind: str, bar: int, onset: str, before: list[dict[str, Any]],
           after: list[dict[str, Any]]) -> dict[str, Any]:
    same = kind in {"respell", "hand", "roll", "duration"}
    return {"id": f"e{number}", "kind": kind, "stage": "joint plan", "rule": "P3",
            "reason": f"reason {number}", "bar": str(bar), "bar_index": bar,
            "beat": str(int(onset) % 4 + 1), "onset": onset, "before": before, "after": after,
            "fidelity": "same-sound" if same else "other-sound"}


def _finding(code: str, name: str, severity: str, message: str, bar: int, onset: str,
             notes: list[str]) -> dict[str, Any]:
    return {"code": code, "name": name, "severity": severity, "message": message, "part": "P1",
            "bar": str(bar), "bar_index": bar, "beat": str(int(onset) % 4 + 1), "onset": onset,
            "notes": notes, "remedies": [{"title": "drop the doubling", "fidelity": "other-sound",
                                          "cost": 12}]}


def _move(bar: int, onset: str, pedal: str, before: int, after: int) -> dict[str, Any]:
    return {"bar": str(bar), "bar_index": bar, "beat": str(int(onset) % 4 + 1), "onset": onset,
            "seconds": float(onset), "pedal": pedal, "from": before, "to": after,
            "foot": "L" if pedal in "DCB" else "R"}


def sample_report(*, errors: bool = True) -> dict[str, Any]:
    """Return the report of :func:`sample_draft`; without ``errors`` the draft is clean."""
    ledger = [
        _entry(1, "drop", 1, "2", [_sounding("x1", "2", 54, "F#3")], []),
        _entry(2, "repitch", 1, "0", [_sounding("n1", "0", 74, "D5")],
               [_sounding("n1", "0", 75, "Eb5")]),
        _entry(3, "octave", 2, "4", [_sounding("n5", "4", 67, "G4")],
               [_sounding("n5", "4", 79, "G5")]),
        _entry(4, "respell", 1, "2", [_sounding("n2", "2", 78, "Gb5")],
               [_sounding("n2", "2", 78, "F#5")]),
        _entry(5, "hand", 2, "6", [_sounding("n7", "6", 70, "Bb4")],
               [_sounding("n7", "6", 70, "Bb4")]),
    ]
    findings = [_finding("H2", "wide-span", "warning", "The left hand spans 11 steps.", 1, "2",
                         ["n4-double"])]
    if errors:
        findings.append(_finding("P3", "one-string-two-pitches", "error",
                                 "F natural and F sharp cannot sound together.", 2, "4", ["n8"]))
    notes = [_drafted("n1", "0", 75, "Eb5", "R", 1), _drafted("n2", "2", 78, "F#5", "R", 1),
             _drafted("n3", "0", 51, "Eb3", "L", 1), _drafted("n4", "2", 44, "Ab2", "L", 1),
             _drafted("n5", "4", 79, "G5", "R", 2), _drafted("n6", "4", 67, "G4", "R", 2),
             _drafted("n7", "6", 70, "Bb4", "R", 2), _drafted("n8", "4", 51, "Eb3", "L", 2)]
    return {
        "schema": 1, "command": "convert",
        "source": {"file": "mill.musicxml", "sha256": "0" * 64, "parts": ["Piano"],
                   "kept_parts": []},
        "settings": {"harp": "pedal-47", "player": "average", "tempo": 90, "transpose": 0},
        "tempo": [{"onset": "0", "bpm": "90"}],
        "bars": [{"bar": str(k), "onset": str(4 * k - 4), "duration": "4", "beats": 4,
                  "beat_type": 4} for k in (1, 2)],
        "pedals": {"opening": {"D": 0, "C": 0, "B": -1, "E": -1, "F": 0, "G": 0, "A": -1},
                   "moves": [_move(1, "2", "F", 0, 1), _move(1, "2", "D", -1, 1),
                             _move(2, "4", "F", 1, 0)]},
        "notes": notes, "ledger": ledger, "findings": findings,
        "cost": {"fidelity": 40, "feet": 12, "hands": 0, "total": 52}, "bound": 50,
        "summary": {"A1 recall": 0.98765, "moves": 3},
    }
