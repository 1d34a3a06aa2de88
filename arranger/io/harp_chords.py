"""Notes and chords as a writer needs them: all with a length, members as long as the first note.

MusicXML moves on by the first note of a chord (MusicXML 4.0, ``<chord>``). Where that note is left
out of a draft another takes its place, so one of another length would shift the rest of the bar.
"""

from __future__ import annotations

from fractions import Fraction

from lxml import etree

from arranger.io.tempo import NOTE_VALUES, dotted
from arranger.io.write_divisions import divisions_by_measure, number
from arranger.io.write_order import drop, set_text


def settle_lengths(part: etree._Element) -> None:
    """Give each note without a duration, in place, the one its written value means.

    Grace notes have none; a length that no decimal number tells is left out.
    """
    for measure, divisions in divisions_by_measure(part):
        for note in measure.iterchildren("note"):
            if note.find("duration") is None and note.find("grace") is None:
                length = _written(note, divisions)
                if length is not None:
                    set_text(note, "duration", number(length))


def _written(note: etree._Element, divisions: Fraction) -> Fraction | None:
    types = note.findall("type")  # of two the last counts, as in reading
    value = NOTE_VALUES.get((types[-1].text or "").strip()) if types else None
    if value is None:
        return None
    value = dotted(value, len(note.findall("dot"))) * divisions
    change = note.find("time-modification")
    if change is not None:
        ratio = [(change.findtext(f"{which}-notes") or "").strip()
                 for which in ("normal", "actual")]
        if not all(text.isascii() and text.isdigit() and int(text) for text in ratio):
            return None
        value *= Fraction(int(ratio[0]), int(ratio[1]))
    return value if 10**6 % value.denominator == 0 else None


def settle_chords(measure: etree._Element) -> None:
    """Give the members of each chord the length of its first note, in place.

    A member that has no first note, or is a grace note where that is none (or the other way
    round), stands for itself.
    """
    head: etree._Element | None = None
    for child in measure:
        if child.tag in ("backup", "forward"):
            head = None
        elif child.tag == "note":
            if child.find("chord") is None:
                head = child
            elif head is None or not _alike(head, child):
                drop(child, "chord")
                head = child
            elif child.findtext("duration") != head.findtext("duration"):
                _take_length(child, head)


def _alike(head: etree._Element, member: etree._Element) -> bool:
    return (head.find("grace") is None) == (member.find("grace") is None)


def _take_length(member: etree._Element, head: etree._Element) -> None:
    length = head.findtext("duration")
    if length is None:
        drop(member, "duration")
    else:
        set_text(member, "duration", length)
