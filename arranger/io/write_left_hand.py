"""The strokes of a left hand, written on the lower staff of a harp part that rested there."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import count, groupby
from math import lcm

from lxml import etree

from arranger.io.note_values import Value, longest_value, spelled
from arranger.io.voice_lines import write_value
from arranger.io.write_beat_beams import Stem, beam
from arranger.io.write_divisions import (
    common_divisions,
    divisions_by_measure,
    length,
    number,
    set_divisions,
)
from arranger.io.write_order import detach, element, notations
from arranger.io.write_rests import hide_spare_rests
from arranger.model.pitch import Pitch
from arranger.model.score import Measure

_STAFF = "2"


@dataclass(frozen=True, slots=True)
class Struck:
    """Notes of one bar, struck from ``start`` to ``end``, in quarter notes from its beginning."""

    measure: int
    start: Fraction
    end: Fraction
    pitches: tuple[Pitch, ...]


def plays_below(part: etree._Element) -> bool:
    """Tell whether the lower staff of a harp part has a note."""
    return any(note.find("pitch") is not None and note.findtext("staff") == _STAFF
               for note in part.iterfind("measure/note"))


def write_left_hand(part: etree._Element, measures: Sequence[Measure],
                    strokes: Sequence[Struck]) -> frozenset[etree._Element]:
    """Write strokes on the lower staff, in place; return the notes that begin them.

    Parameters
    ----------
    part : two staves, nothing but rests on the lower one.
    measures : the bars of the score, in the order of the part's.
    strokes : in order of time, none longer than up to the next or the barline.
    """
    finest = lcm(common_divisions([part]), *(s.start.denominator for s in strokes),
                 *(s.end.denominator for s in strokes))
    set_divisions(part, finest)
    by_bar = {index: list(row) for index, row in groupby(strokes, key=lambda s: s.measure)}
    voice = _voice(part)
    made: set[etree._Element] = set()
    for index, (measure, divisions) in enumerate(divisions_by_measure(part)):
        if index in by_bar:
            made |= _write(measure, measures[index], by_bar[index], voice, divisions)
    return frozenset(made)


def _voice(part: etree._Element) -> str:
    """Number of the voice that rests on the lower staff, if it has one of its own, else a new."""
    voices: dict[str, set[str]] = {}
    for note in part.iterfind("measure/note"):
        voices.setdefault(note.findtext("voice") or "1", set()).add(note.findtext("staff") or "1")
    lower = sorted(v for v, staves in voices.items() if staves == {_STAFF})
    return lower[0] if lower else next(v for n in count(2) if (v := str(n)) not in voices)


def _write(measure: etree._Element, bar: Measure, strokes: Sequence[Struck], voice: str,
           divisions: Fraction) -> set[etree._Element]:
    """Write one bar's strokes with rests between them, behind what stands in it."""
    _clear(measure, voice)
    ending = [b for b in measure.findall("barline") if b.get("location", "right") == "right"]
    home, _ = length(measure)
    if home:
        etree.SubElement(measure, "backup").append(element("duration", number(home)))
    stems: list[Stem] = []
    made: set[etree._Element] = set()
    at = Fraction(0)
    for stroke in (*strokes, Struck(bar.index, bar.duration, bar.duration, ())):
        for value in spelled(at, stroke.start):
            stems.append((at, value.length, _note(measure, None, value, voice, divisions)))
            at += value.length
        at = stroke.start
        pieces = _values(stroke)
        for which, value in enumerate(pieces):
            heads = [_note(measure, pitch, value, voice, divisions, bool(place))
                     for place, pitch in enumerate(stroke.pitches)]
            for note in heads:
                _tie(note, bool(which), which + 1 < len(pieces))
            stems.append((at, value.length, heads[0]))
            made |= set(heads if not which else ())
            at += value.length
    beam(stems, bar)
    measure.extend(ending)
    hide_spare_rests(measure)
    return made


def _clear(measure: etree._Element, voice: str) -> None:
    """Take out the rests of the voice where they stand behind all else."""
    behind: list[etree._Element] = []
    for child in reversed(measure):
        if child.tag == "backup" and behind:
            for one in (child, *behind):
                detach(one)
            return
        if child.tag == "note" and child.findtext("voice") == voice:
            behind.append(child)
        elif child.tag != "barline" or child.get("location", "right") != "right":
            return


def _values(stroke: Struck) -> list[Value]:
    """One value where there is one of this length, else several to be tied."""
    whole = longest_value(stroke.end - stroke.start)
    if not stroke.pitches:
        return []
    if whole is not None and whole.length == stroke.end - stroke.start:
        return [whole]
    return list(spelled(stroke.start, stroke.end))


def _note(measure: etree._Element, pitch: Pitch | None, value: Value, voice: str,
          divisions: Fraction, in_chord: bool = False) -> etree._Element:
    note = etree.SubElement(measure, "note")
    if in_chord:
        note.append(element("chord"))
    if pitch is None:
        note.append(element("rest"))
    else:
        name = etree.SubElement(note, "pitch")
        name.append(element("step", pitch.step))
        if pitch.alter:
            name.append(element("alter", str(pitch.alter)))
        name.append(element("octave", str(pitch.octave)))
    note.extend([element("duration", number(value.length * divisions)), element("voice", voice)])
    write_value(note, value)
    note.append(element("staff", _STAFF))
    return note


def _tie(note: etree._Element, stops: bool, starts: bool) -> None:
    for kind in (["stop"] if stops else []) + (["start"] if starts else []):
        note.insert([c.tag for c in note].index("voice"), element("tie", type=kind))
        notations(note).append(element("tied", type=kind))


def take_out(measure: etree._Element, added: Collection[etree._Element]) -> None:
    """Let the voice of the added notes rest again for the bar."""
    voices = {note.findtext("voice") for note in measure.iterfind("note") if note in added}
    mine = [note for note in measure.iterfind("note") if note.findtext("voice") in voices]
    if not mine:
        return
    first, *others = mine
    whole = sum(Fraction(n.findtext("duration") or "0") for n in mine if n.find("chord") is None)
    rest = element("note")
    rest.extend([element("rest", None, measure="yes"), element("duration", number(whole)),
                 element("voice", first.findtext("voice")), element("staff", _STAFF)])
    first.addprevious(rest)
    for note in (first, *others):
        detach(note)
