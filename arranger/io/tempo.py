"""Tempo: what ``<sound tempo>``, metronome marks and tempo words say, made into a tempo map."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from lxml import etree

from arranger.model.score import TempoMap, TempoMark
from arranger.rulebook.score_words import plain, tempo_ranges

#: Taken where a score gives neither number nor known word (the report says "assumed").
ASSUMED = Fraction(90)
#: Numbers outside are slips of a program, not tempi (assumption).
SLOWEST, FASTEST = 5, 1000
#: Note values in quarter notes, by their MusicXML names.
NOTE_VALUES: Mapping[str, Fraction] = {
    "maxima": Fraction(32), "long": Fraction(16), "breve": Fraction(8), "whole": Fraction(4),
    "half": Fraction(2), "quarter": Fraction(1), "eighth": Fraction(1, 2),
    "16th": Fraction(1, 4), "32nd": Fraction(1, 8), "64th": Fraction(1, 16),
    "128th": Fraction(1, 32), "256th": Fraction(1, 64), "512th": Fraction(1, 128),
    "1024th": Fraction(1, 256)}
#: Parts of the lower and of the upper end of a word's range beyond which a number contradicts it
#: (assumption).
_FAR_OFF = (Fraction(4, 5), Fraction(5, 4))
_NUMBER = re.compile(r"\d{1,4}(?:\.\d{1,6})?")
_FIRST_TEMPO = re.compile(r"\btempo (?:primo|i|1|1o|1mo|1°)(?!\w)")


@dataclass(frozen=True, slots=True)
class Sign:
    """A tempo sign: a quarter-note ``number``, a ``ratio`` to the tempo before, or ``words``."""

    number: Fraction | None = None
    ratio: Fraction | None = None
    words: str = ""


def read_sound(sound: etree._Element) -> Sign | None:
    """Read the ``tempo`` attribute of ``<sound>``: quarter notes a minute."""
    return _numbered(sound.get("tempo"), Fraction(1))


def read_direction(direction: etree._Element) -> Sign | None:
    """Read a direction; its sound counts before its metronome mark, that before its words."""
    sound = direction.find("sound")
    sign = None if sound is None else read_sound(sound)
    if sign is None:
        metronome = direction.find("direction-type/metronome")
        sign = None if metronome is None else _read_metronome(metronome)
    if sign is None:
        words = " ".join(w.text or "" for w in direction.iterfind("direction-type/words"))
        sign = Sign(words=words) if words.strip() else None
    return sign


def _read_metronome(metronome: etree._Element) -> Sign | None:
    units: list[Fraction] = []
    dots: list[int] = []
    for child in metronome:
        if child.tag == "beat-unit":
            units.append(NOTE_VALUES.get((child.text or "").strip(), Fraction(1)))
            dots.append(0)
        elif child.tag == "beat-unit-dot" and dots:
            dots[-1] += 1
    values = [dotted(unit, count) for unit, count in zip(units, dots, strict=True)]
    if not values:
        return None
    if len(values) == 2:  # "quarter = dotted quarter": the left value becomes the right one
        return Sign(ratio=values[1] / values[0])
    return _numbered(metronome.findtext("per-minute"), values[0])


def dotted(value: Fraction, dots: int) -> Fraction:
    """Return a note value with so many dots."""
    return value * (2 - Fraction(1, 2 ** min(dots, 4)))


def _numbered(text: str | None, unit: Fraction) -> Sign | None:
    """Read ``72``, ``c. 72`` or ``66-72`` (its middle) beats of ``unit`` quarter notes."""
    numbers = [Fraction(n) for n in _NUMBER.findall(text or "")[:2]]
    if not numbers or (text or "").lstrip().startswith("-"):
        return None
    bpm = unit * sum(numbers) / len(numbers)
    return Sign(number=bpm) if SLOWEST <= bpm <= FASTEST else None


def tempo_map(signs: Iterable[tuple[Fraction, Sign]], opening: Fraction) -> TempoMap:
    """Return the tempo map of signs at onsets.

    Words count only in a score without any number; after the opening only where the marking
    begins with a tempo word ("Allegro", not "poco più animato", which is relative).

    Parameters
    ----------
    signs
        Onsets in quarter notes and what stands there, in any order; at one onset a number counts
        before a ratio, a ratio before words.
    opening
        Marks up to this onset (the end of the first bar) count from the start.
    """
    found: dict[Fraction, TempoMark] = {}
    ordered = sorted(signs, key=lambda s: (s[0], s[1].number is None, s[1].ratio is None))
    numbered = any(sign.number is not None for _, sign in ordered)
    for onset, sign in ordered:
        if sign.words and numbered and not _FIRST_TEMPO.search(plain(sign.words)):
            continue
        if sign.words and onset > opening and not _begins_with_tempo(sign.words):
            continue
        at = Fraction(0) if not found and onset <= opening else onset
        if at not in found and (mark := _mark(at, sign, found)) is not None:
            found[at] = mark
    if Fraction(0) not in found:
        found = {Fraction(0): TempoMark(Fraction(0), ASSUMED, "assumed"), **found}
    return TempoMap(_without_repetition(found.values()))


def _begins_with_tempo(words: str) -> bool:
    text = plain(words)
    return bool(_FIRST_TEMPO.search(text) or tempo_ranges()[0].match(text))


def _mark(at: Fraction, sign: Sign, before: Mapping[Fraction, TempoMark]) -> TempoMark | None:
    if sign.number is not None:
        return TempoMark(at, sign.number, "number")
    marks = list(before.values())
    if sign.ratio is not None:
        return TempoMark(at, marks[-1].bpm * sign.ratio, marks[-1].origin) if marks else None
    text = plain(sign.words)
    if marks and _FIRST_TEMPO.search(text):
        return TempoMark(at, marks[0].bpm, marks[0].origin)
    bpm = word_tempo(text)
    return None if bpm is None else TempoMark(at, bpm, "word")


def _without_repetition(marks: Iterable[TempoMark]) -> tuple[TempoMark, ...]:
    kept: list[TempoMark] = []
    for mark in marks:
        if not kept or (mark.bpm, mark.origin) != (kept[-1].bpm, kept[-1].origin):
            kept.append(mark)
    return tuple(kept)


def contradicted(root: etree._Element, bpm: Fraction) -> str:
    """The tempo word of a score, with its usual range, that its first number lies far outside of.

    A number that only a ``<sound>`` gives is often the program's own; a printed metronome mark is
    the composer's or an editor's, and believed. Empty where nothing is contradicted.
    """
    opening = root.findall("part/measure[1]")
    if any(bar.find("direction/direction-type/metronome") is not None for bar in opening):
        return ""
    texts = [e.text or "" for e in (
        *(w for bar in opening for w in bar.iterfind("direction/direction-type/words")),
        *root.iterfind("movement-title"), *root.iterfind("work/work-title"))]
    for phrase in filter(None, map(_phrase, texts)):
        low, high = tempo_ranges()[1][phrase]
        if not low * _FAR_OFF[0] <= bpm <= high * _FAR_OFF[1]:
            return f"{phrase} ({low} to {high})"
        return ""
    return ""


def word_tempo(text: str) -> Fraction | None:
    """Return the slow end of the usual range of the longest tempo phrase in ``text``, if any.

    A draft gives up no note that can be played within the range the word stands for.
    """
    phrase = _phrase(text)
    return Fraction(tempo_ranges()[1][phrase][0]) if phrase else None


def _phrase(text: str) -> str:
    """Return the longest tempo phrase in a text, or nothing."""
    return max(tempo_ranges()[0].findall(plain(text)), key=len, default="")
