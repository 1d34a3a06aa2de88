"""What music21 reads in a MusicXML file: a slow, independent twin of the reader."""

from __future__ import annotations

import warnings
from collections import Counter
from fractions import Fraction
from pathlib import Path
from typing import Any

from lxml import etree

from arranger.io.musicxml_tree import load

#: (index of the bar, offset in the bar, MIDI number)
Attacks = Counter[tuple[int, Fraction, int]]


def attacks(path: Path) -> tuple[Attacks, Counter[tuple[int, int]]]:
    """Return the struck notes, and the grace notes as (bar, MIDI number)."""
    from music21 import converter, stream

    with warnings.catch_warnings():  # of overfull bars, and of wedges it cannot place
        warnings.simplefilter("ignore")
        score = converter.parseData(_without_cues(path), format="musicxml").toSoundingPitch()
    struck: Attacks = Counter()
    graces: Counter[tuple[int, int]] = Counter()
    groups: dict[str, list[Any]] = {}
    for part in score.getElementsByClass(stream.Part):
        groups.setdefault(str(part.id).split("-Staff")[0], []).append(part)
    for staves in groups.values():
        notes = [row for part in staves for row in _rows(part)]
        lengths: dict[int, Fraction] = {}
        for bar, offset, length, *_ in notes:
            lengths[bar] = max(lengths.get(bar, Fraction(0)), offset + length)
        ties_from = {(*_place(bar, offset + length, lengths), midi)
                     for bar, offset, length, midi, tie, grace in notes
                     if midi is not None and not grace and tie in ("start", "continue")}
        for bar, offset, _, midi, tie, grace in notes:
            if midi is None:
                continue
            if grace:
                graces[bar, midi] += 1
            elif tie not in ("stop", "continue") or (bar, offset, midi) not in ties_from:
                struck[bar, offset, midi] += 1
    return struck, graces


def _without_cues(path: Path) -> str:
    """Return the score with rests for cue notes: music21 tells them by their print size only."""
    root = load(path)
    for cue in list(root.iter("cue")):
        note = cue.getparent()
        assert note is not None
        pitch = note.find("pitch")
        if note.find("chord") is not None:
            note.getparent().remove(note)  # type: ignore[union-attr]  # it stands in a measure
        elif pitch is not None:
            note.replace(pitch, etree.Element("rest"))
    return etree.tostring(root, encoding="unicode")


def _place(bar: int, end: Fraction, lengths: dict[int, Fraction]) -> tuple[int, Fraction]:
    """Return where a note that ends here goes on; the end of a bar is the start of the next."""
    return (bar + 1, Fraction(0)) if end >= lengths[bar] else (bar, end)


def _rows(part: Any) -> list[tuple[int, Fraction, Fraction, int | None, str, bool]]:
    from music21 import harmony, note, stream

    rows: list[tuple[int, Fraction, Fraction, int | None, str, bool]] = []
    for bar, measure in enumerate(part.getElementsByClass(stream.Measure)):
        for element in measure.recurse().notesAndRests:
            if isinstance(element, harmony.Harmony):
                continue
            offset = Fraction(element.getOffsetInHierarchy(measure)).limit_denominator(10**6)
            length = Fraction(element.duration.quarterLength).limit_denominator(10**6)
            grace = element.duration.isGrace
            rows.append((bar, offset, length, None, "", grace))
            members = element.notes if element.isChord else [element]
            for member in members:
                if isinstance(member, note.Note):
                    tie = member.tie.type if member.tie else ""
                    rows.append((bar, offset, length, member.pitch.midi, tie, grace))
    return rows
