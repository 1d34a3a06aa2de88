"""MIDI, MEI, Humdrum and ABC to a MusicXML tree, through music21."""

from __future__ import annotations

import contextlib
import io
import warnings
from pathlib import Path

from lxml import etree

from arranger.io.files import read_bytes
from arranger.io.midi_check import check_midi
from arranger.io.musicxml_tree import parse
from arranger.model.errors import SourceError

#: Suffix to the name music21 has for the format.
FORMATS = {".mid": "midi", ".midi": "midi", ".mei": "mei", ".krn": "humdrum", ".abc": "abc"}
LARGEST = 8 * 2**20
#: Quarter notes; an hour at crotchet 240. Keeps an absurd duration from becoming a million bars.
LONGEST = 15_000


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
    if kind == "midi":
        check_midi(content, str(path), LONGEST)
    elif b"<!ENTITY" in content:
        raise SourceError(f"{path}: defines XML entities, which no score needs; not read")
    with warnings.catch_warnings(), contextlib.redirect_stderr(io.StringIO()), \
            contextlib.redirect_stdout(io.StringIO()):
        warnings.simplefilter("ignore")
        try:
            exported = _through_music21(path, kind)
        except SourceError:
            raise
        except Exception as error:  # music21 answers bad input with errors of every kind
            why = (str(error).strip().splitlines() or [type(error).__name__])[0]
            raise SourceError(f"{path}: cannot be read as {kind}: {why[:160]}") from error
    return parse(exported, str(path))


def _through_music21(path: Path, kind: str) -> bytes:
    # costs 0.3-0.5 s to import, so only here
    from music21 import converter, stream
    from music21.musicxml.m21ToXml import GeneralObjectExporter

    parsed = converter.parseFile(path, format=kind, forceSource=True, storePickle=False)
    if isinstance(parsed, stream.Opus):
        if len(parsed.scores) != 1:
            raise SourceError(f"{path}: holds {len(parsed.scores)} tunes; "
                              "give a file with one of them")
        parsed = parsed.scores[0]
    if not parsed.recurse().notes:
        raise SourceError(f"{path}: no notes found in it as {kind}")
    if parsed.highestTime > LONGEST:
        raise SourceError(f"{path}: lasts more than {LONGEST} quarter notes; no piece is that long")
    exported: bytes = GeneralObjectExporter(parsed).parse()
    return exported
