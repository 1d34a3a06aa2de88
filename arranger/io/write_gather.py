"""Voices of several players on one staff become chords of one voice where they move together."""

from __future__ import annotations

from lxml import etree

from arranger.io.write_events import Event, events, pitch_of, streams
from arranger.io.write_order import detach, drop, element, prune_notations, put, set_text
from arranger.io.write_rests import hide_spare_rests
from arranger.model.pitch import Pitch

_OF_THE_STEM = ("tuplet",)


def gather(measure: etree._Element) -> dict[etree._Element, etree._Element]:
    """Join voices of one staff that strike the same rhythm all through a bar.

    The notes of the later voice become chord notes of the earlier; where it stood alone between
    two backups it leaves the bar. A unison is written once: returns for each note taken out the
    one that stands for it.
    """
    voices = [voice for voice in streams(events(measure)) if any(not e.rest for e in voice)]
    graced = {(e.run, e.voice) for voice in voices for e in voice if e.grace}
    leaders: dict[object, list[Event]] = {}
    twins: dict[etree._Element, etree._Element] = {}
    moved = False
    for voice in voices:
        staves = {e.staff for e in voice}
        if len(staves) != 1 or (voice[0].run, voice[0].voice) in graced:
            continue
        struck = [e for e in voice if not e.rest]
        key = (staves.pop(), tuple((e.onset, e.length, e.rhythm, _tied(e)) for e in struck))
        leader = leaders.setdefault(key, struck)
        if leader is struck or leader[0].run == struck[0].run or any(
                _tied(e) and _pitches(e) & _pitches(into)  # whose tie it is would be lost
                for into, e in zip(leader, struck, strict=True)):
            continue
        for into, event in zip(leader, struck, strict=True):
            twins |= _join(into, event)
        for event in voice:
            if event.rest:
                event.head.set("print-object", "no")
        leaders[key] = [_whole(one, other, twins)
                        for one, other in zip(leader, struck, strict=True)]
        moved = True
    if moved:
        hide_spare_rests(measure)
    return twins


def _pitches(event: Event) -> set[Pitch | None]:
    return {pitch_of(note) for note in event.notes}


def _tied(event: Event) -> frozenset[str]:
    """How ties hang on an event: a chord is held as a whole or not at all."""
    return frozenset(tie.get("type", "") for note in event.notes for tie in note.iterfind("tie"))


def _whole(into: Event, event: Event,
           twins: dict[etree._Element, etree._Element]) -> Event:
    more = [note for note in event.notes if note not in twins]
    return Event((*into.notes, *more), into.onset, into.length, into.run)


def _join(into: Event, event: Event) -> dict[etree._Element, etree._Element]:
    """Move the notes of an event onto the stem of another; an unseen rest keeps its time."""
    event.head.addprevious(_unseen_rest(event))
    last = into.notes[-1]
    there = {pitch_of(note): note for note in into.notes}
    twins = {}
    for note in event.notes:
        if pitch_of(note) in there:
            twins[note] = there[pitch_of(note)]
            detach(note)
            continue
        drop(note, "beam", "stem", "chord")
        for sign in [s for tag in _OF_THE_STEM for s in note.iterfind(f"notations/{tag}")]:
            parent = sign.getparent()
            assert parent is not None
            parent.remove(sign)
        prune_notations(note)
        put(note, element("chord"))
        set_text(note, "voice", into.voice)
        last.addnext(note)
        last = note
    for note in into.notes:
        drop(note, "stem")
    return twins


def _unseen_rest(event: Event) -> etree._Element:
    rest = element("note", None, **{"print-object": "no"})
    rest.append(element("rest"))
    for tag in ("duration", "voice", "type", "dot", "time-modification", "staff"):
        for child in event.head.findall(tag):
            copied = element(str(child.tag), child.text)
            copied.extend([element(str(c.tag), c.text) for c in child])
            rest.append(copied)
    return rest
