"""A grip that comes again at once is printed without its fingers, as harp parts have it."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from xml.etree import ElementTree as ET

from arranger.report.placing_brackets import Placed
from arranger.report.staff_rests import times

#: Strings from which on fingers stand above one another and take room.
_CHORD = 2
_STRING = ("pitch/step", "pitch/octave")


def thin_fingers(part: ET.Element, groups: Iterable[Placed] = ()) -> None:
    """Take the fingers from chords that repeat the one before on their staff in the same bar.

    They repeat it where they are the same strings with the same fingers. What stands under a
    bracket (one of ``groups``) keeps its fingers.
    """
    held = {name for group in groups for grip in group for name in grip}
    for measure in part.findall("measure"):
        grips: dict[str, dict[Fraction, list[ET.Element]]] = {}
        chord_at = Fraction(0)
        for at, child in zip(times(measure), measure, strict=False):
            if child.tag != "note":
                continue
            chord_at = chord_at if child.find("chord") is not None else at
            if child.find("notations/technical/fingering") is not None:
                grips.setdefault(child.findtext("staff", "1").strip(), {}).setdefault(
                    chord_at, []).append(child)
        for row in grips.values():
            before: frozenset[tuple[str, ...]] = frozenset()
            for _, notes in sorted(row.items()):
                grip = frozenset(map(_fingered, notes))
                if len(grip) >= _CHORD and grip == before and not any(
                        note.get("id") in held for note in notes):
                    for note in notes:
                        _bare(note)
                before = grip


def _fingered(note: ET.Element) -> tuple[str, ...]:
    """String and fingers of a note."""
    return (*(note.findtext(path, "") for path in _STRING),
            *(f.text or "" for f in note.iterfind("notations/technical/fingering")))


def _bare(note: ET.Element) -> None:
    for technical in note.findall("notations/technical"):
        for finger in technical.findall("fingering"):
            technical.remove(finger)
