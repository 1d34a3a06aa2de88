"""The process that runs music21: ``python -m arranger.io.other_convert KIND LONGEST PATH``.

Writes MusicXML to stdout, or one line to stderr and leaves with status 1.
"""

from __future__ import annotations

import contextlib
import io
import sys
import warnings
from pathlib import Path
from typing import Any

from arranger.io.spelling import spelled
from arranger.limits import limit_memory

#: Address space, in bytes; 6000 notes of MIDI need 0.4 GB (measured).
MEMORY = 3 * 2**29


def convert(path: Path, kind: str, longest: int) -> bytes:
    """Return MusicXML of the music in ``path``.

    Raises
    ------
    ValueError
        More or less than one tune, no notes, or longer than ``longest`` quarter notes.
    """
    # costs 0.3-0.5 s to import, so only here
    from music21 import converter, defaults, stream
    from music21.musicxml.m21ToXml import GeneralObjectExporter

    defaults.title = defaults.author = ""  # else it invents both
    parsed = converter.parseFile(path, format=kind, forceSource=True, storePickle=False)
    if isinstance(parsed, stream.Opus):
        if len(parsed.scores) != 1:
            raise ValueError(f"holds {len(parsed.scores)} tunes; give a file with one of them")
        parsed = parsed.scores[0]
    if not parsed.recurse().notes:
        raise ValueError("no notes found in it")
    if parsed.highestTime > longest:
        raise ValueError(f"lasts more than {longest} quarter notes; no piece is that long")
    if kind == "midi":
        _spell(parsed)
    exported: bytes = GeneralObjectExporter(parsed).parse()
    return exported


def _spell(parsed: Any) -> None:
    """Name the pitches of a parsed MIDI file by their keys; what is not named stays."""
    from music21 import pitch

    notes = list(parsed.recurse().notes)
    found = [(float(note.getOffsetInHierarchy(parsed)), tone.midi, at, which)
             for at, note in enumerate(notes)
             for which, tone in enumerate(getattr(note, "pitches", ()))
             if hasattr(note, "pitch") or note.isChord]
    found.sort()
    named = {(at, which): new for (_, _, at, which), new in zip(
        found, spelled([midi for _, midi, _, _ in found]), strict=True)}
    for at, note in enumerate(notes):
        tones = [pitch.Pitch(step=new.step, octave=new.octave, accidental=new.alter)
                 for which in range(len(getattr(note, "pitches", ())))
                 if (new := named.get((at, which))) is not None]
        if tones and note.isChord:
            note.pitches = tones
        elif tones:
            note.pitch = tones[0]


def main() -> int:
    """Convert the file named on the command line."""
    kind, longest, path = sys.argv[1:4]
    limit_memory(MEMORY)
    warnings.simplefilter("ignore")
    quiet = io.StringIO()
    try:
        with contextlib.redirect_stdout(quiet), contextlib.redirect_stderr(quiet):
            exported = convert(Path(path), kind, int(longest))
    except Exception as error:  # music21 answers bad input with errors of every kind
        sys.stderr.write((str(error).strip().splitlines() or [type(error).__name__])[0] + "\n")
        return 1
    sys.stdout.buffer.write(exported)
    return 0


if __name__ == "__main__":
    sys.exit(main())
