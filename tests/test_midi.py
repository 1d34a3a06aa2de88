"""The MIDI file, read back byte by byte with a small reader of its own and by music21."""

from __future__ import annotations

import struct
from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.model.score import TempoMap, TempoMark
from arranger.report.midi import DIVISION, midi_bytes

SLOW = TempoMap((TempoMark(F(0), F(60)), TempoMark(F(4), F(90))))


def tracks(content: bytes) -> list[list[tuple[int, bytes]]]:
    """Return the tracks as lists of (tick, message); a reader without running status."""
    kind, length, form, count, division = struct.unpack(">4sIHHH", content[:14])
    assert (kind, length, form, division) == (b"MThd", 6, 1, DIVISION)
    out, at = [], 14
    for _ in range(count):
        name, size = struct.unpack(">4sI", content[at:at + 8])
        assert name == b"MTrk"
        at, end, now, events = at + 8, at + 8 + size, 0, []
        while at < end:
            delta = 0
            while content[at] & 0x80:
                delta, at = delta << 7 | content[at] & 0x7F, at + 1
            now, at = now + (delta << 7 | content[at]), at + 1
            status = content[at]
            size = 3 + content[at + 2] if status == 0xFF else 2 if status >> 4 == 0xC else 3
            events.append((now, content[at:at + size]))
            at += size
        assert events[-1][1] == b"\xff\x2f\x00"
        out.append(events[:-1])
    assert at == len(content)
    return out


def sounding(content: bytes) -> list[tuple[F, F, int]]:
    """Return (onset, duration, pitch) of every note, and fail on notes that never end."""
    begun: dict[int, int] = {}
    found = []
    for tick, message in tracks(content)[1]:
        if message[0] == 0x90:
            assert message[1] not in begun
            begun[message[1]] = tick
        elif message[0] == 0x80:
            first = begun.pop(message[1])
            found.append((F(first, DIVISION), F(tick - first, DIVISION), message[1]))
    assert not begun
    return sorted(found, key=lambda note: (note[0], note[2]))


def test_program_is_the_harp_and_stands_before_the_notes():
    first, second, *_ = tracks(midi_bytes([(F(0), F(1), 60)], SLOW))[1]
    assert first == (0, bytes((0xC0, 46)))
    assert second[1][0] == 0x90


def test_tempo_track():
    events = tracks(midi_bytes([], SLOW))[0]
    assert events == [(0, b"\xff\x51\x03" + (1_000_000).to_bytes(3, "big")),
                      (4 * DIVISION, b"\xff\x51\x03" + (666_667).to_bytes(3, "big"))]


def test_very_slow_tempo_stays_in_three_bytes():
    slow = TempoMap((TempoMark(F(0), F(1)),))
    assert tracks(midi_bytes([], slow))[0][0][1] == b"\xff\x51\x03\xff\xff\xff"


@pytest.mark.parametrize("part", [3, 5, 7, 12, 20, 28, 64])
def test_tuplets_are_exact(part):
    assert sounding(midi_bytes([(F(1, part), F(1, part), 60)], SLOW)) == [
        (F(1, part), F(1, part), 60)]


def test_struck_again_while_sounding():
    notes = [(F(0), F(4), 60), (F(1), F(1), 60)]
    assert sounding(midi_bytes(notes, SLOW)) == [(F(0), F(1), 60), (F(1), F(1), 60)]


def test_unison_sounds_once_and_as_long_as_the_longer():
    notes = [(F(0), F(1), 60), (F(0), F(3), 60)]
    assert sounding(midi_bytes(notes, SLOW)) == [(F(0), F(3), 60)]


def test_grace_notes_come_before_in_their_order():
    notes = [(F(2), F(0), 62), (F(2), F(0), 64), (F(2), F(1), 65)]
    assert sounding(midi_bytes(notes, SLOW)) == [
        (F(7, 4), F(1, 8), 62), (F(15, 8), F(1, 8), 64), (F(2), F(1), 65)]


def test_grace_note_at_the_very_start():
    assert sounding(midi_bytes([(F(0), F(0), 62)], SLOW)) == [(F(0), F(1, 8), 62)]


@given(st.lists(st.tuples(st.integers(0, 400), st.integers(1, 40), st.integers(21, 108)),
                max_size=40, unique_by=lambda n: (n[0], n[2])))
def test_every_onset_survives(rows):
    notes = [(F(a, 12), F(b, 12), m) for a, b, m in rows]
    found = sounding(midi_bytes(notes, SLOW))
    assert [(a, m) for a, _, m in found] == sorted((a, m) for a, _, m in notes)
    lengths = {(a, m): d for a, d, m in notes}
    assert all(0 < d <= lengths[a, m] for a, d, m in found)


def test_order_of_the_notes_does_not_matter():
    notes = [(F(1), F(1), 60), (F(0), F(2), 72), (F(1), F(1), 40)]
    assert midi_bytes(notes, SLOW) == midi_bytes(notes[::-1], SLOW)


def test_music21_reads_it(tmp_path):
    from music21 import converter  # slow to import (0.4 s)
    path = tmp_path / "draft.mid"
    path.write_bytes(midi_bytes([(F(0), F(1), 60), (F(4, 3), F(1, 3), 67)], SLOW))
    score = converter.parse(path, forceSource=True, quantizePost=False)
    found = [(float(n.offset), n.pitch.midi) for n in score.flatten().notes]
    assert found == [(0.0, 60), (pytest.approx(4 / 3), 67)]
    assert [i.midiProgram for i in score.recurse().getElementsByClass("Instrument")
            if i.midiProgram is not None] == [46]
