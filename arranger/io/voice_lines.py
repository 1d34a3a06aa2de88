"""The voices of a staff in one bar: which notes they hold, and for how long."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import zip_longest

from lxml import etree

from arranger.io.note_values import Value, longest_value
from arranger.io.rung_on import LeftOut
from arranger.io.two_voices import Head, Place, share
from arranger.io.write_events import Event, pitch_of
from arranger.io.write_order import detach, drop, drop_tie, element, put
from arranger.model.pitch import Pitch


@dataclass(slots=True)
class Line:
    """Chords of one voice of a staff, each with its onset in quarter notes of the bar."""

    chords: dict[Fraction, list[etree._Element]] = field(default_factory=dict)
    values: dict[Fraction, Fraction] = field(default_factory=dict)


@dataclass(slots=True)
class Chains:
    """Which written notes are one sounding note, and which of them are written no more."""

    after: dict[etree._Element, etree._Element]
    before: dict[etree._Element, etree._Element]
    gone: set[etree._Element] = field(default_factory=set)
    twins: dict[etree._Element, etree._Element] = field(default_factory=dict)

    def end(self, note: etree._Element) -> None:
        """Let a note end here: what is tied to it is not written."""
        drop_tie(note, "start")
        following = self.after.get(note)
        while following is not None and following not in self.gone:
            self.gone.add(following)
            following = self.after.get(following)

    def left(self, note: etree._Element) -> Fraction:
        """Return how long a note goes on by its ties after its own end, in divisions."""
        following = self.after.get(note)
        if following is None or following in self.gone:
            return Fraction(0)
        return Fraction(following.findtext("duration") or 0) + self.left(following)

    def leave(self, note: etree._Element) -> None:
        """Leave out a note that only goes on, and what goes on from it."""
        self.gone.add(note)
        before = self.before.get(note)
        if before is not None:
            drop_tie(before, "start")
        self.end(note)


def voice_lines(here: Sequence[Event], staff: str, divisions: Fraction,
           chains: Chains, left_out: Sequence[LeftOut] = ()) -> tuple[Line, ...]:
    """Share the notes of a staff between its three voices; each chord highest note first.

    A stroke rings on through those ``left_out`` after it, in order of time.
    """
    found = [(note, e.onset / divisions, e.length / divisions) for e in here
             if not e.rest and not e.grace for note in e.notes
             if (note.findtext("staff") or "1").strip() == staff and note not in chains.gone
             and pitch_of(note) is not None]
    as_written = {note: length for note, _, length in found}
    found = _without_twins(found, chains, divisions, left_out)
    out = 1 if staff == "1" else -1  # the right hand's top and the left hand's bottom lead
    held = [(out * _pitch(n).position, o, o + v) for n, o, v in found]
    outer = {at: max(height for height, o, e in held if o <= at < e)
             for at in {onset for _, onset, _ in found}}
    spans: dict[int, list[tuple[Fraction, Fraction]]] = {}
    for e in here:
        for pitch in map(pitch_of, e.notes if not e.rest and not e.grace else ()):
            if pitch is not None:
                spans.setdefault(pitch.pitch_class, []).append(
                    (e.onset / divisions, e.end / divisions))
    heads = [Head(note, onset, length, pitch.position, note in chains.before,
                  note in chains.after, out * pitch.position == outer[onset],
                  sum(o <= onset and onset + length <= e for o, e in spans[pitch.pitch_class]) > 1)
             for note, onset, length in found for pitch in (_pitch(note),)]
    places = share(heads, _fitting)
    lines = (Line(), Line(), Line())
    for head in sorted(heads, key=lambda h: (h.onset, -h.position)):
        if head.note in chains.gone:  # what it went on from has been cut
            continue
        given = places[head.note]
        if given.length == 0:
            chains.leave(head.note)
            continue
        _hold(head, given, heads, as_written, chains)
        line = lines[given.voice - 1]
        line.chords.setdefault(head.onset, []).append(head.note)
        line.values[head.onset] = given.length
    return lines


Written = tuple[etree._Element, Fraction, Fraction]


def _without_twins(found: list[Written], chains: Chains, divisions: Fraction,
                   left_out: Sequence[LeftOut]) -> list[Written]:
    """Leave one note for each string and moment, of two the one that goes on longer."""
    first: dict[tuple[Fraction, object], Written] = {}
    for one in sorted(found, key=lambda f: (f[0] in chains.before,
                                            -f[2] - chains.left(f[0]) / divisions)):
        other = first.setdefault((one[1], pitch_of(one[0])), one)
        if other is not one:
            chains.twins[one[0]] = other[0]
            if other[0].find("lyric") is None:
                for lyric in one[0].findall("lyric"):
                    put(other[0], lyric)
            if one[0] in chains.before:
                chains.leave(one[0])
            else:
                chains.end(one[0])
            detach(one[0])
    return [one for one in list(_struck_again(first.values(), chains, left_out))
            if one[0] not in chains.gone]


def _struck_again(found: Iterable[Written], chains: Chains,
                  left_out: Sequence[LeftOut]) -> Iterator[Written]:
    """Let a note end where its string is struck again; the new stroke lasts as long as it would."""
    strings: dict[object, list[Written]] = {}
    for one in sorted(found, key=lambda f: f[1]):
        strings.setdefault(pitch_of(one[0]), []).append(one)
    for strokes in strings.values():
        reach = Fraction(0)
        silent = [s for s in left_out if s.midi == _pitch(strokes[0][0]).midi]
        for (note, onset, length), after in zip_longest(strokes, strokes[1:]):
            reach = max(reach, onset + length)
            for stroke in silent if note not in chains.after else ():
                if onset <= stroke.onset <= reach:
                    reach = max(reach, stroke.end)
            if after is not None and after[1] < reach:
                if after[1] < onset + length:
                    chains.end(note)
                yield note, onset, _fitting(after[1] - onset)
            else:
                yield note, onset, _fitting(reach - onset) if reach > onset + length else length


def _pitch(note: etree._Element) -> Pitch:
    pitch = pitch_of(note)
    assert pitch is not None
    return pitch


def _fitting(length: Fraction) -> Fraction:
    value = longest_value(length)
    return value.length if value else length


def _hold(head: Head, place: Place, heads: Iterable[Head],
          as_written: Mapping[etree._Element, Fraction], chains: Chains) -> None:
    """Write the length of a note, as a note of that length beside it is written or anew."""
    note = head.note
    if place.length < head.length:
        chains.end(note)
    like = next((h.note for h in (head, *heads) if h.onset == head.onset
                 and as_written[h.note] == place.length and h.note.find("type") is not None), None)
    if like is not None and like is not note:
        _copy_value(like, note)
    elif like is None:
        write_value(note, longest_value(place.length))


def _copy_value(source: etree._Element, note: etree._Element) -> None:
    drop(note, "type", "dot", "time-modification")
    for tag in ("type", "dot", "time-modification"):
        for child in source.findall(tag):
            put(note, deepcopy(child))


def write_value(note: etree._Element, value: Value | None) -> None:
    """Write type, dots and tuplet of a note; without a value none of them."""
    drop(note, "type", "dot", "time-modification")
    if value is None:
        return
    put(note, element("type", value.name))
    for _ in range(value.dots):
        put(note, element("dot"))
    if value.ratio:
        change = put(note, element("time-modification"))
        change.extend([element("actual-notes", str(value.ratio[0])),
                       element("normal-notes", str(value.ratio[1]))])
