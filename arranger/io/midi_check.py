"""A look over a standard MIDI file before it is converted: whole, and of a sensible length.

Follows the file structure of the Standard MIDI Files 1.0 specification (chunks, variable-length
delta times, running status).
"""

from __future__ import annotations

from arranger.model.errors import SourceError

MOST_EVENTS = 500_000
#: Data bytes of channel messages by the high nibble of the status byte.
_DATA_BYTES = {0x8: 2, 0x9: 2, 0xA: 2, 0xB: 2, 0xC: 1, 0xD: 1, 0xE: 2}


def check_midi(content: bytes, name: str, longest: int) -> tuple[int, int]:
    """Walk through all tracks; return the strokes beside the beat, and all strokes.

    Beside the beat is what begins on no quarter and no third of a crotchet: the strokes that a
    reader has to round.

    Parameters
    ----------
    content
        The whole file.
    name
        File name for messages.
    longest
        Greatest length of a track, in quarter notes.

    Raises
    ------
    SourceError
        Not a MIDI file, truncated, or longer than ``longest``.
    """
    if content[:4] != b"MThd" or len(content) < 14:
        raise SourceError(f"{name}: not a standard MIDI file")
    division = int.from_bytes(content[12:14], "big")
    if not 0 < division < 0x8000:
        raise SourceError(f"{name}: MIDI time in frames (SMPTE) or of no length; "
                          "export it again with bars and beats")
    at = 8 + int.from_bytes(content[4:8], "big")
    events = off = strokes = 0
    try:
        while at + 8 <= len(content):
            kind, size = content[at:at + 4], int.from_bytes(content[at + 4:at + 8], "big")
            at += 8
            if at + size > len(content):
                raise IndexError
            if kind == b"MTrk":
                ticks, count, struck = _walk(content[at:at + size])
                events += count
                strokes += len(struck)
                off += sum(when * 4 % division > 0 and when * 3 % division > 0 for when in struck)
                if ticks > longest * division:
                    raise SourceError(f"{name}: lasts more than {longest} quarter notes; "
                                      "no piece is that long")
            at += size
    except IndexError as error:
        raise SourceError(f"{name}: truncated or damaged MIDI file") from error
    if not 0 < events <= MOST_EVENTS:
        raise SourceError(f"{name}: MIDI file with {'too many' if events else 'no'} events")
    return off, strokes


def _walk(track: bytes) -> tuple[int, int, list[int]]:
    """Return the length of a track in ticks, its events, its strokes' ticks; IndexError if cut."""
    at = ticks = events = status = 0
    struck: list[int] = []
    while at < len(track):
        delta, at = _variable(track, at)
        ticks += delta
        events += 1
        if track[at] & 0x80:
            status = track[at]
            at += 1
        if status == 0xFF:
            end_of_track = track[at] == 0x2F
            size, at = _variable(track, at + 1)
            at += size
            if end_of_track:
                break
        elif status in (0xF0, 0xF7):
            size, at = _variable(track, at)
            at += size
        elif status >> 4 in _DATA_BYTES:
            if status >> 4 == 0x9 and at + 1 < len(track) and track[at + 1]:
                struck.append(ticks)
            at += _DATA_BYTES[status >> 4]
        else:
            raise IndexError
        if at > len(track):
            raise IndexError
    return ticks, events, struck


def _variable(track: bytes, at: int) -> tuple[int, int]:
    """Return a variable-length number of at most four bytes, and where it ends."""
    value = 0
    for _ in range(4):
        byte = track[at]
        at += 1
        value = value << 7 | byte & 0x7F
        if not byte & 0x80:
            return value, at
    raise IndexError
