"""Cue notes, ossias and bowed tremolos: what stands in a part but is not for the harp to play."""

from __future__ import annotations

from collections.abc import Iterator

from lxml import etree

from arranger.io.write_notes import make_rest
from arranger.io.write_order import detach, drop, prune_notations

Said = tuple[str, str]  # kind of sign, bar


def leave_out_asides(part: etree._Element) -> list[Said]:
    """Take out, in place, what is a hint or another version; return each with its bar.

    A cue note becomes a rest. An ossia is a staff that calls itself one.
    """
    return [*_ossias(part), *_cues(part)]


def _cues(part: etree._Element) -> Iterator[Said]:
    for measure in part.findall("measure"):
        for note in measure.findall("note"):
            if note.find("cue") is None:
                continue
            if note.find("rest") is None and note.find("chord") is None:
                yield "cue notes", measure.get("number", "")
            if note.find("chord") is not None or note.find("grace") is not None:
                detach(note)
                continue
            drop(note, "cue", "lyric", "beam")
            if note.find("rest") is None:
                make_rest(note)


def _ossias(part: etree._Element) -> Iterator[Said]:
    staves: set[str] = set()
    for measure in part.findall("measure"):
        for details in measure.iterfind("attributes/staff-details"):
            if (details.findtext("staff-type") or "").strip() == "ossia":
                staves.add(details.get("number", "1"))
            else:
                staves.discard(details.get("number", "1"))
        if not staves:
            continue
        found = [n for n in measure.findall("note") if (n.findtext("staff") or "1") in staves]
        if any(n.find("rest") is None for n in found):
            yield "ossia", measure.get("number", "")
        for note in found:
            if note.find("chord") is not None or note.find("grace") is not None:
                detach(note)
            elif note.find("rest") is None:
                drop(note, "lyric", "beam")
                make_rest(note)
        for direction in measure.findall("direction"):
            if (direction.findtext("staff") or "1") in staves:
                detach(direction)


def still_tremolo(note: etree._Element) -> bool:
    """Take a tremolo on one note off it: a bow repeats, a string once plucked rings."""
    found = [t for t in note.findall("notations/ornaments/tremolo")
             if t.get("type", "single") == "single"]
    for sign in found:
        detach(sign)
    prune_notations(note)
    return bool(found)
