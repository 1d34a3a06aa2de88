"""Chord symbols of a part: ``<harmony>`` to the notes that it names."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from fractions import Fraction

from lxml import etree

from arranger.io.write_divisions import divisions_by_measure, placed
from arranger.model.chord import ChordSymbol, Tone
from arranger.model.pitch import STEPS
from arranger.model.score import Measure
from arranger.rulebook.chords import load_chords

_NUMBER = re.compile(r"\s*[+-]?\d{1,9}(?:\.\d{1,9})?\s*")
#: An added seventh is that of a dominant chord (MusicXML 4.0, degree-type).
_ADDED = {7: -1}
#: "No chord" where it is written as words (common practice; MusicXML 4.0 has the kind "none").
_NO_CHORD = re.compile(r"\s*(n\.? ?c\.?|no chord)\s*", re.IGNORECASE)
#: Degrees of the notes that an inversion puts lowest (MusicXML 4.0, inversion: 0 is the root).
_INVERTED = ((1,), (3, 2, 4), (5,), (7, 6))


def chord_symbols(part: etree._Element, measures: Sequence[Measure]) -> tuple[ChordSymbol, ...]:
    """Return the chord symbols of a part in order of time; of several at one moment the last.

    ``measures``: the bars of the score, in the order of the part's.
    """
    found: dict[Fraction, ChordSymbol] = {}
    for bar, (measure, divisions) in zip(measures, divisions_by_measure(part), strict=False):
        for at, child in placed(measure):
            silence = child.tag == "direction" and _NO_CHORD.fullmatch(
                child.findtext("direction-type/words") or "")
            if child.tag == "harmony" or silence:
                shift = _number(child.findtext("offset"))
                onset = bar.onset + max(Fraction(0), (at + shift) / divisions)
                found[onset] = ChordSymbol(onset) if silence else symbol(child, onset)
    return tuple(found[onset] for onset in sorted(found))


def symbol(harmony: etree._Element, onset: Fraction) -> ChordSymbol:
    """Return what one ``<harmony>`` names; without a root, or of the kind "none", silence."""
    root = _tone(harmony.find("root"), "root")
    kind = (harmony.findtext("kind") or "").strip()
    if root is None or kind == "none":
        return ChordSymbol(onset)
    kinds = load_chords().kinds
    known = kinds.get(kind.lower())
    changes = harmony.findall("degree")
    if known is None or (kind == "other" and not changes):
        known = kinds["major"]
        unknown = kind or "none"
    else:
        unknown = ""
    degrees = _changed(known, changes)
    tones = {d: root.degree(d, alter) for d, alter in sorted(degrees.items())}
    bass = _tone(harmony.find("bass"), "bass") or _inverted(harmony, tones) or root
    return ChordSymbol(onset, tones, bass, unknown)


def _changed(known: Mapping[int, int], changes: Sequence[etree._Element]) -> dict[int, int]:
    """Degrees of a kind after what ``<degree>`` adds, alters and takes away."""
    degrees = dict(known)
    for change in changes:
        value, alter = (_number(change.findtext(f"degree-{name}")) for name in ("value", "alter"))
        degree = int(value)
        if not 1 <= degree <= 13:
            continue
        match (change.findtext("degree-type") or "").strip():
            case "subtract":
                degrees.pop(degree, None)
            case "alter" if degree in degrees:
                degrees[degree] += int(alter)
            case _:
                degrees[degree] = _ADDED.get(degree, 0) + int(alter)
    return degrees


def _inverted(harmony: etree._Element, tones: Mapping[int, Tone]) -> Tone | None:
    inversion = int(_number(harmony.findtext("inversion")))
    degrees = _INVERTED[inversion] if 0 < inversion < len(_INVERTED) else ()
    return next((tones[d] for d in degrees if d in tones), None)


def _tone(group: etree._Element | None, name: str) -> Tone | None:
    step = (group.findtext(f"{name}-step") or "").strip().upper() if group is not None else ""
    if group is None or len(step) != 1 or step not in STEPS:
        return None
    return Tone(step, (int(_number(group.findtext(f"{name}-alter"))) + 6) % 12 - 6)


def _number(text: str | None) -> Fraction:
    """A number that may be missing or no number at all: then nothing."""
    return Fraction(text) if text and _NUMBER.fullmatch(text) else Fraction(0)
