"""Bars and seconds of the page: where every note of source and draft stands in time."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from arranger.model.score import Note, NoteId, TempoMap, TempoMark
from arranger.report.wording import Entry, plain
from arranger.rulebook.rules import rule

#: Quarter notes a grace note takes from the time before its note (assumption, as in draft.mid).
GRACE = Fraction(1, 8)
#: Seconds between the notes of a rolled chord, the last on the beat (assumption).
ROLL = 0.05


@dataclass(frozen=True, slots=True)
class Heard:
    """A note to be played; times in quarter notes, 0 long for a grace note."""

    id: NoteId
    onset: Fraction
    duration: Fraction
    midi: int
    name: str = ""
    hand: str = ""
    rolled: bool = False


@dataclass(frozen=True, slots=True)
class Source:
    """What the page shows and plays beside the draft: the arranged part as it was.

    ``xml`` is a score of that part alone, bar for bar as the draft; a note of the report's id
    ``n5`` has the id ``s-n5`` there.
    """

    xml: bytes = b""
    notes: tuple[Heard, ...] = ()


def source_of(xml: bytes, notes: Iterable[Note]) -> Source:
    """Return the arranged part as the page wants it, from its score and the notes read from it."""
    return Source(xml, tuple(
        Heard(n.id, n.onset, Fraction(0) if n.grace else n.duration, n.midi, n.pitch.name,
              rolled="arpeggiate" in n.marks) for n in notes))


@dataclass(frozen=True, slots=True)
class Bar:
    """A bar by its printed number; ``onset`` and ``duration`` in quarter notes."""

    number: str
    onset: Fraction
    duration: Fraction
    beat: Fraction


def bars_of(report: Mapping[str, Any]) -> tuple[Bar, ...]:
    """Return the bars of the score; none for a report that does not tell them."""
    return tuple(Bar(plain(b["bar"]), Fraction(b["onset"]), Fraction(b["duration"]),
                     Fraction(4, b["beat_type"])) for b in report.get("bars", ()))


def tempo_of(report: Mapping[str, Any]) -> TempoMap:
    """Return the tempo map of the report."""
    return TempoMap(tuple(TempoMark(Fraction(m["onset"]), Fraction(m["bpm"]))
                          for m in report["tempo"]))


def draft_notes(report: Mapping[str, Any]) -> tuple[Heard, ...]:
    """Return the notes of the draft as they are to be heard."""
    return tuple(Heard(n["id"], Fraction(n["onset"]),
                       Fraction(0) if n["grace"] else Fraction(n["duration"]),
                       n["midi"], n["string"], n["hand"] or "", n["rolled"])
                 for n in report["notes"])


def moments(notes: Iterable[Heard], tempo: TempoMap) -> list[tuple[float, Heard]]:
    """Return (seconds from the start of the written score, note) in the order of sounding.

    Repeats are not played out. Grace notes stand before their note, an eighth of a quarter apart;
    the notes of a rolled chord follow each other from the lowest, the last on the beat.
    """
    out: list[tuple[float, Heard]] = []
    graces: dict[Fraction, list[Heard]] = defaultdict(list)
    rolls: dict[Fraction, list[Heard]] = defaultdict(list)
    for note in notes:
        if not note.duration:
            graces[note.onset].append(note)
        elif note.rolled:
            rolls[note.onset].append(note)
        else:
            out.append((tempo.seconds(note.onset), note))
    for onset, some in graces.items():
        for before, note in enumerate(reversed(some), 1):
            out.append((tempo.seconds(max(onset - before * GRACE, Fraction(0))), note))
    for onset, some in rolls.items():
        for before, note in enumerate(sorted(some, key=lambda n: -n.midi)):
            out.append((max(tempo.seconds(onset) - before * ROLL, 0.0), note))
    return sorted(out, key=lambda moment: (moment[0], moment[1].midi, moment[1].id))


def time_data(report: Mapping[str, Any], source: Source) -> dict[str, Any]:
    """Return what the page's script plays: bars and both versions, times in seconds.

    ``draft`` and ``source`` hold [id, seconds, MIDI number, name, hand, bar index]; ``bars`` hold
    [printed number, seconds at its start]; ``ring`` the numbers of rule P2.
    """
    bars = bars_of(report)
    if not bars or "tempo" not in report:
        return {}
    tempo = tempo_of(report)
    ring = rule("P2")
    return {
        "tempo": float(tempo.marks[0].bpm),
        "end": _seconds(tempo, bars[-1].onset + bars[-1].duration),
        "bars": [[b.number, _seconds(tempo, b.onset)] for b in bars],
        "draft": _rows(draft_notes(report), tempo, bars),
        "source": _rows(source.notes, tempo, bars),
        "ring": [ring.number(f"{n}") for n in (
            "middle_seconds", "middle_hertz", "exponent", "longest_seconds")],
    }


def _seconds(tempo: TempoMap, onset: Fraction) -> float:
    return round(tempo.seconds(onset), 4)


def _rows(notes: Sequence[Heard], tempo: TempoMap, bars: Sequence[Bar]) -> list[list[Any]]:
    starts = [b.onset for b in bars]
    rows, at = [], 0
    for seconds, note in sorted(moments(notes, tempo), key=lambda m: m[1].onset):
        while at + 1 < len(starts) and starts[at + 1] <= note.onset:
            at += 1
        rows.append([plain(note.id), round(seconds, 4), note.midi, plain(note.name), note.hand,
                     at + 1])
    return sorted(rows, key=lambda row: (row[1], row[2]))


def as_script(data: Entry) -> str:
    """Return data as a JSON block that no text in it can leave."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text
