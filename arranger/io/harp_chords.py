"""Chords as a writer needs them: every member as long as its first note, and none without one.

MusicXML moves on by the first note of a chord (MusicXML 4.0, ``<chord>``). Where that note is left
out of a draft another takes its place, so one of another length would shift the rest of the bar.
"""

from __future__ import annotations

from lxml import etree

from arranger.io.write_order import drop, set_text


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
