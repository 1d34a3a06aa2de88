"""A Standard MIDI File of a draft, for listening."""

from __future__ import annotations

import struct
from collections import defaultdict
from collections.abc import Iterable
from fractions import Fraction

from arranger.model.score import TempoMap

#: Ticks a quarter: exact for triplets, quintuplets and septuplets down to the 64th.
DIVISION = 6720
#: Orchestral Harp is 47 in the General MIDI 1 sound set, counted from one.
HARP_PROGRAM = 46
_VELOCITY = 76  # assumption: about mezzo-forte
_GRACE = Fraction(1, 8)  # assumption: quarter notes a grace note takes from the time before
_UNITS_A_QUARTER = 60_000_000  # microseconds a minute

Event = tuple[int, int, bytes]  # tick, rank at equal ticks (ends before beginnings), message


def midi_bytes(notes: Iterable[tuple[Fraction, Fraction, int]], tempo: TempoMap) -> bytes:
    """Return a type 1 file: one track of tempo, one of notes on channel 1.

    Parameters
    ----------
    notes
        (onset, duration, MIDI number), times in quarter notes of the written score, repeats not
        played out. Notes of duration 0 are grace notes: those of one onset are played in the
        order given, an eighth of a quarter apart, before it.
    tempo
        The score's tempo map.

    Returns
    -------
    bytes
        Standard MIDI File (MIDI Manufacturers Association, *Standard MIDI Files 1.0*). A note
        struck again while it sounds ends there; the file has no other loss.
    """
    head = struct.pack(">4sIHHH", b"MThd", 6, 1, 2, DIVISION)
    return head + _track(_tempo_events(tempo)) + _track(_note_events(_spread_graces(notes)))


def _tick(onset: Fraction) -> int:
    return round(onset * DIVISION)


def _tempo_events(tempo: TempoMap) -> list[Event]:
    return [(_tick(m.onset), 0, b"\xff\x51\x03"
             + min(round(_UNITS_A_QUARTER / m.bpm), 0xFFFFFF).to_bytes(3, "big"))
            for m in tempo.marks]


def _spread_graces(notes: Iterable[tuple[Fraction, Fraction, int]],
                   ) -> list[tuple[Fraction, Fraction, int]]:
    plain: list[tuple[Fraction, Fraction, int]] = []
    graces: dict[Fraction, list[int]] = defaultdict(list)
    for onset, duration, midi in notes:
        if duration > 0:
            plain.append((onset, duration, midi))
        else:
            graces[onset].append(midi)
    for onset, pitches in graces.items():
        for before, midi in enumerate(reversed(pitches), 1):
            plain.append((max(onset - before * _GRACE, Fraction(0)), _GRACE, midi))
    return plain


def _note_events(notes: list[tuple[Fraction, Fraction, int]]) -> list[Event]:
    sounding: dict[int, dict[int, int]] = defaultdict(dict)  # pitch -> first tick -> last tick
    for onset, duration, midi in notes:
        first, last = _tick(onset), _tick(onset + duration)
        sounding[midi][first] = max(last, sounding[midi].get(first, first + 1))
    events: list[Event] = [(0, 0, bytes((0xC0, HARP_PROGRAM)))]
    for midi, spans in sounding.items():
        starts = sorted(spans)
        for first, following in zip(starts, [*starts[1:], None], strict=True):
            last = spans[first] if following is None else min(spans[first], following)
            events.append((first, 2, bytes((0x90, midi, _VELOCITY))))
            events.append((last, 1, bytes((0x80, midi, 0))))
    return events


def _track(events: list[Event]) -> bytes:
    body, now = bytearray(), 0
    for tick, _, message in sorted(events):
        body += _variable_length(tick - now) + message
        now = tick
    body += b"\x00\xff\x2f\x00"
    return struct.pack(">4sI", b"MTrk", len(body)) + bytes(body)


def _variable_length(value: int) -> bytes:
    out = [value & 0x7F]
    while value := value >> 7:
        out.append(value & 0x7F | 0x80)
    return bytes(reversed(out))
