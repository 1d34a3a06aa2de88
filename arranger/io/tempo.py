"""Tempo: what ``<sound tempo>``, metronome marks and tempo words say, made into a tempo map."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from lxml import etree

from arranger.model.score import Slower, TempoMap, TempoMark
from arranger.rulebook.score_words import (
    gives_way,
    is_tempo,
    pace,
    plain,
    slows,
    tempo_phrases,
    tempo_ranges,
)

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
_ALLA_BREVE = re.compile(r"(?<!\w)alla breve(?!\w)")
_FIRST_TEMPO = re.compile(r"\btempo (?:primo|i|1|1o|1mo|1°)(?!\w)")


@dataclass(frozen=True, slots=True)
class Sign:
    """A tempo sign: a quarter-note ``number``, a ``ratio`` to the tempo before, or ``words``.

    ``printed``: a metronome mark shows the number.
    """

    number: Fraction | None = None
    ratio: Fraction | None = None
    words: str = ""
    printed: bool = False


def read_sound(sound: etree._Element) -> Sign | None:
    """Read the ``tempo`` attribute of ``<sound>``: quarter notes a minute."""
    return _numbered(sound.get("tempo"), Fraction(1))


def read_direction(direction: etree._Element) -> Sign | None:
    """Read a direction; its sound counts before its metronome mark, that before its words."""
    sound = direction.find("sound")
    sign = None if sound is None else read_sound(sound)
    metronome = direction.find("direction-type/metronome")
    if sign is None:
        sign = None if metronome is None else _read_metronome(metronome)
    if sign is not None and metronome is not None:
        sign = replace(sign, printed=True)
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


def beat_of(beats: int, beat_type: int, *, cut: bool = False) -> Fraction:
    """Return the length of what is counted in a metre, in quarter notes.

    ``cut``: the sign of the metre is a C with a stroke, whatever its numbers say.
    """
    if cut or beat_type == 2:
        return Fraction(2)
    if beat_type == 8 and beats % 3 == 0:
        return Fraction(3, 2)
    return Fraction(1, 2) if beat_type == 8 and beats in (2, 4) else Fraction(1)


def in_beats(mark: TempoMark) -> str:
    """Say a tempo in beats of the metre, as *minim 60*; nothing where they are crotchets."""
    name = {Fraction(2): "minim", Fraction(3, 2): "dotted crotchet",
            Fraction(1, 2): "quaver"}.get(mark.beat)
    return f"{name} {round(mark.bpm / mark.beat)}" if name else ""


def tempo_map(signs: Iterable[tuple[Fraction, Sign]], opening: Fraction,
              beat_at: Callable[[Fraction], Fraction] = lambda _: Fraction(1)) -> TempoMap:
    """Return the tempo map of signs at onsets.

    Words count only in a score without any number; after the opening only where the marking
    begins with a tempo word ("Allegro", not "poco più animato", which is relative).

    Parameters
    ----------
    signs
        Onsets in quarter notes and what stands there, in any order; at one onset a number counts
        before a ratio, a ratio before words, and of numbers the first that is printed.
    opening
        Marks up to this onset (the end of the first bar) count from the start.
    beat_at
        The beat of the metre at an onset; "alla breve" makes it a minim.
    """
    found: dict[Fraction, TempoMark] = {}
    ordered = sorted(signs, key=lambda s: (
        s[0], s[1].number is None, s[1].ratio is None, not s[1].printed))
    breves = {onset for onset, sign in ordered if _ALLA_BREVE.search(plain(sign.words))}
    numbered = any(sign.number is not None for _, sign in ordered)
    for onset, sign in ordered:
        if sign.words and numbered and not _FIRST_TEMPO.search(plain(sign.words)):
            continue
        if sign.words and onset > opening and not _begins_with_tempo(sign.words):
            continue
        at = Fraction(0) if not found and onset <= opening else onset
        beat = Fraction(2) if onset in breves else beat_at(onset)
        if at not in found and (mark := _mark(at, sign, found, beat)) is not None:
            found[at] = mark
    if Fraction(0) not in found:
        beat = Fraction(2) if any(o <= opening for o in breves) else beat_at(Fraction(0))
        found = {Fraction(0): TempoMark(Fraction(0), pace(None, beat), "assumed", beat), **found}
    return TempoMap(_without_repetition(found.values()))


def slowing(signs: Iterable[tuple[Fraction, Sign]],
            bar_lines: Sequence[Fraction]) -> tuple[Slower, ...]:
    """Where words slow the music down: up to the next sign of tempo, or for so many bar lines.

    ``bar_lines``: the onsets of all bars and the end of the last, rising.
    """
    granted = gives_way()
    told = sorted({onset: sign for onset, sign in signs
                   if not sign.words or is_tempo(sign.words)}.items())
    found = []
    for (onset, sign), after in zip(told, [*(o for o, _ in told[1:]), bar_lines[-1]], strict=False):
        if slows(sign.words):
            line = min(bisect_right(bar_lines, onset) + granted.bar_lines, len(bar_lines)) - 1
            found.append(Slower(onset, min(after, bar_lines[line]), granted.slowing))
    return tuple(found)


def _begins_with_tempo(words: str) -> bool:
    text = plain(words)
    return bool(_FIRST_TEMPO.search(text) or tempo_ranges()[0].match(text))


def _mark(at: Fraction, sign: Sign, before: Mapping[Fraction, TempoMark],
          beat: Fraction) -> TempoMark | None:
    if sign.number is not None:
        return TempoMark(at, sign.number, "number", beat)
    marks = list(before.values())
    if sign.ratio is not None:
        return (TempoMark(at, marks[-1].bpm * sign.ratio, marks[-1].origin, beat)
                if marks else None)
    text = plain(sign.words)
    if marks and _FIRST_TEMPO.search(text):
        return TempoMark(at, marks[0].bpm, marks[0].origin, beat)
    bpm = word_tempo(text, beat)
    return None if bpm is None else TempoMark(at, bpm, "word", beat)


def _without_repetition(marks: Iterable[TempoMark]) -> tuple[TempoMark, ...]:
    kept: list[TempoMark] = []
    for mark in marks:
        if not kept or (mark.bpm, mark.origin) != (kept[-1].bpm, kept[-1].origin):
            kept.append(mark)
    return tuple(kept)


def contradicted(root: etree._Element, bpm: Fraction, beat: Fraction = Fraction(1)) -> str:
    """The tempo word of a score, with its usual range, that its first number lies far outside of.

    The range, in crotchets, holds for the crotchet and for the beat of the metre alike.
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
        low, high = (number * scale for number, scale in zip(
            tempo_ranges()[1][phrase], (min(beat, Fraction(1)), max(beat, Fraction(1))),
            strict=True))
        if not low * _FAR_OFF[0] <= bpm <= high * _FAR_OFF[1]:
            return f"{phrase} ({low} to {high})"
        return ""
    return ""


def word_tempo(text: str, beat: Fraction = Fraction(1)) -> Fraction | None:
    """Return the slow end of what the longest tempo phrase in ``text`` usually means, if any.

    A draft gives up no note that can be played within the range the word stands for. ``beat`` of
    the metre and what is returned in quarter notes.
    """
    phrase = _phrase(text)
    return pace(tempo_ranges()[1][phrase][0], beat) if phrase else None


def _phrase(text: str) -> str:
    """Return the longest tempo phrase in a text, or nothing."""
    return max(tempo_phrases(text), key=len, default="")
