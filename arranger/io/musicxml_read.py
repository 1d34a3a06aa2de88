"""A MusicXML tree to a Document: notes as they sound, bars, tempo, playing order."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import accumulate
from math import lcm

from lxml import etree

from arranger.io.document import Document
from arranger.io.loudness import Loudness, loudness
from arranger.io.part_read import FINEST, Bar, Found, PartReader, Ticks
from arranger.io.playing_order import flows, playing_order
from arranger.io.tempo import beat_of, slowing, tempo_map
from arranger.io.ties import Sounding, sounding_notes
from arranger.model.errors import ChoiceError, SourceError
from arranger.model.score import Measure, Note, NoteId, Part, Score

#: More than any music has (assumptions); a file beyond them is refused.
MOST_PARTS, MOST_BARS, FINEST_GRID = 250, 20_000, 10**15


def read(root: etree._Element, name: str = "",
         part_ids: Collection[str] | None = None) -> Document:
    """Read a score-partwise tree.

    Parameters
    ----------
    root
        Root of the tree; it is not changed.
    name
        File name for messages.
    part_ids
        Parts whose notes are read; all if None. Bars, tempo and repeats are always those of the
        whole score; key and metre are those of the first part that is read.

    Raises
    ------
    SourceError
        The score has no notes, or a detail of it has no musical meaning; names file and bar.
    ChoiceError
        ``part_ids`` names a part the score does not have.
    """
    name = name or "score"
    elements = list(root.iterchildren("part"))
    found = Found(name, _grid(elements, name))
    readers = [PartReader(part, found, keep=part_ids is None or part.get("id") in part_ids)
               for part in elements]
    _check_parts(readers, name, part_ids)
    for reader in readers:
        reader.run()
    if not any(reader.notes for reader in readers):
        raise SourceError(f"{name}: no notes of definite pitch in it")
    clock = _Clock(found.grid)
    bars = _bars(readers)
    starts = [0, *accumulate(_length(bar, found.grid) for bar in bars)]
    measures = tuple(
        Measure(i, bar.number, clock[starts[i]], clock[starts[i + 1] - starts[i]], bar.beats,
                bar.beat_type, bar.fifths) for i, bar in enumerate(bars))
    notes, chains = _notes(readers, starts, clock, loudness(found.levels, starts))
    opening = clock[starts[1]]
    onsets = [m.onset for m in measures]

    def beat_at(onset: Fraction) -> Fraction:
        bar = bars[max(bisect_right(onsets, onset) - 1, 0)]
        return beat_of(bar.beats, bar.beat_type, cut=bar.cut)

    signs = [(clock[starts[bar] + at], sign) for bar, at, sign in found.tempi]
    tempo = tempo_map(signs, opening, beat_at)
    order = playing_order(flows(found.signs, [bar.number for bar in bars]))
    score = Score(_title(root), _parts(root, readers), measures, notes, tempo, order,
                  slowing=slowing(signs, [*onsets, clock[starts[-1]]]))
    return Document(root, score, chains, name)


class _Clock(dict[Ticks, Fraction]):
    """Quarter notes by ticks, each made once."""

    def __init__(self, grid: int) -> None:
        super().__init__()
        self.grid = grid

    def __missing__(self, ticks: Ticks) -> Fraction:
        made = self[ticks] = Fraction(ticks) / self.grid
        return made


def _grid(parts: Sequence[etree._Element], name: str) -> int:
    """Return ticks to the quarter note: a multiple of all whole divisions.

    Others (decimal, or no number at all) are left to the part's reader. Of every length there is
    a sixteenth, for what is played at its very end.
    """
    grid = 16
    for part in parts:
        for element in part.iter("divisions"):
            text = (element.text or "").strip()
            if text.isascii() and text.isdigit() and 0 < int(text[:9]) <= FINEST:
                grid = lcm(grid, 16 * int(text[:9]))
            if grid > FINEST_GRID:
                raise SourceError(f"{name}: its many different <divisions> make no sense")
    return grid


def _check_parts(readers: Sequence[PartReader], name: str,
                 part_ids: Collection[str] | None) -> None:
    known = [reader.id for reader in readers]
    if len(set(known)) < len(known):
        raise SourceError(f"{name}: two parts have the same id")
    if len(known) > MOST_PARTS:
        raise SourceError(f"{name}: more than {MOST_PARTS} parts")
    missing = sorted(set(part_ids or ()) - set(known))
    if missing:
        raise ChoiceError(f"{name}: no part {missing[0]!r}; it has {', '.join(known)}")
    if any(len(reader.part) > MOST_BARS for reader in readers):
        raise SourceError(f"{name}: more than {MOST_BARS} bars")


def _bars(readers: Sequence[PartReader]) -> list[Bar]:
    """Return the bars as the first part that is read has them, each as long as the longest."""
    ranked = sorted(readers, key=lambda reader: not reader.keep)
    bars: list[Bar] = []
    for reader in ranked:
        for mine, other in zip(bars, reader.bars, strict=False):
            mine.length = max(mine.length, other.length)
        bars += [replace(b) for b in reader.bars[len(bars):]]
    return bars


def _length(bar: Bar, grid: int) -> Ticks:
    """Return the length in ticks: the longest content, else the metre."""
    if bar.length:
        return bar.length
    metre = Fraction(4 * bar.beats * grid, bar.beat_type)
    return int(metre) if metre.denominator == 1 else metre


def _notes(readers: Sequence[PartReader], starts: Sequence[Ticks],
           clock: _Clock, loud: Mapping[str, Loudness]
           ) -> tuple[tuple[Note, ...], dict[NoteId, tuple[etree._Element, ...]]]:
    ordered = [sounding for reader in readers for sounding in sounding_notes(
        reader.notes, starts, [bar.length for bar in reader.bars])]
    ordered.sort(key=lambda s: (s.onset, s.struck.pitch.midi))
    chains = {s.struck.id: tuple(w.element for w in s.written)
              for note in ordered for s in (note, *note.joined)}
    return tuple(_note(sounding, clock, loud) for sounding in ordered), chains


def _note(sounding: Sounding, clock: _Clock, loud: Mapping[str, Loudness]) -> Note:
    struck, marks = sounding.struck, sounding.marks
    levels = loud.get(struck.part)
    if levels is not None and levels.at(sounding.onset):
        marks |= {"loud"}
    return Note(
        struck.id, struck.part, struck.bar, clock[sounding.onset],
        clock[sounding.end - sounding.onset], struck.pitch, struck.staff, struck.voice,
        struck.grace, marks, (struck.id, *(s.struck.id for s in sounding.joined)),
        struck.chord)


def _title(root: etree._Element) -> str:
    return _first_text(root, "work/work-title", "movement-title", "credit/credit-words")


def _parts(root: etree._Element, readers: Sequence[PartReader]) -> tuple[Part, ...]:
    listed = {entry.get("id"): entry for entry in root.iterfind("part-list/score-part")}
    return tuple(_part(reader, listed.get(reader.id)) for reader in readers)


def _part(reader: PartReader, entry: etree._Element | None) -> Part:
    name = _first_text(entry, "part-name", "part-name-display/display-text") or reader.id
    sound = _first_text(entry, "score-instrument/instrument-sound",
                        "score-instrument/instrument-name")
    return Part(reader.id, name, reader.staves, sound)


def _first_text(element: etree._Element | None, *paths: str) -> str:
    """Return the first text that is not blank, on one line."""
    if element is None:
        return ""
    found = (" ".join((element.findtext(path) or "").split()) for path in paths)
    return next((text for text in found if text), "")
