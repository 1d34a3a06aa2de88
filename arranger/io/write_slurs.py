"""Slurs and slides whose notes were left out: given to the neighbour, or taken out in pairs."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator

from lxml import etree

from arranger.io.write_divisions import Ticks
from arranger.io.write_events import Patch, events
from arranger.io.write_order import detach, notations, prune_notations

_OF_NOTE = ("glissando", "slide", "wavy-line")
Key = tuple[int, Ticks, int, int]  # measure, onset, 0 for graces, document order


def pairs(part: etree._Element, *tags: str) -> list[tuple[etree._Element, etree._Element]]:
    """Return start and stop of each spanner of these kinds, matched by number in file order.

    Where two of one number are open, the one of the same voice is meant, else the later.
    """
    found = []
    waiting: dict[tuple[str, str], list[tuple[str, etree._Element]]] = {}
    for sign in part.iterfind("measure/note/notations//*"):
        if sign.tag not in tags:
            continue
        kind, voice = sign.get("type"), _note(sign).findtext("voice") or "1"
        open_ones = waiting.setdefault((str(sign.tag), sign.get("number", "1")), [])
        if kind == "start":
            open_ones.append((voice, sign))
        elif kind == "stop" and open_ones:
            start = ([one for one in open_ones if one[0] == voice] or open_ones)[-1]
            open_ones.remove(start)
            found.append((start[1], sign))
    return found


def drop_broken_slides(part: etree._Element, patch: Patch) -> None:
    """Take out glissandi, slides and trill lines that lose one of their notes."""
    for start, stop in pairs(part, *_OF_NOTE):
        notes = (_note(start), _note(stop))
        if any(patch.fate.get(note, note) is None for note in notes):
            for sign, note in zip((start, stop), notes, strict=True):
                detach(sign)
                prune_notations(note)


def repair_slurs(part: etree._Element, patch: Patch) -> None:
    """Move slur ends from notes that are gone to the next note inside the slur.

    A slur that would hold a single chord goes, and so does an end without its other end.
    Neighbours are sought in the same voice.
    """
    gone = patch.rests | patch.doomed
    places, by_voice = _places(part, gone)
    matched = pairs(part, "slur")
    _drop_loose(part, matched)
    for start, stop in matched:
        first, last = _note(start), _note(stop)
        if first not in gone and last not in gone and places[first] != places[last]:
            continue
        _, begins = places[first]
        _, ends = places[last]
        new_first = first if first not in gone else _after(by_voice[places[first][0]], begins)
        new_last = last if last not in gone else _before(by_voice[places[last][0]], ends)
        if (new_first is None or new_last is None
                or places[new_first][1] >= places[new_last][1]):
            detach(start)
            detach(stop)
        else:
            notations(new_first).append(start)
            notations(new_last).append(stop)
    for note in gone:
        for slur in note.findall("notations/slur"):
            detach(slur)
        prune_notations(note)


def _drop_loose(part: etree._Element,
                matched: list[tuple[etree._Element, etree._Element]]) -> None:
    """Take out slur ends without a fellow; a stop filed before its start is left alone."""
    paired = {sign for pair in matched for sign in pair}
    loose = [s for s in part.iterfind("measure/note/notations/slur")
             if s.get("type") in ("start", "stop") and s not in paired]
    for slur in loose:
        if not any(s.get("number") == slur.get("number") and s.get("type") != slur.get("type")
                   for s in loose):
            note = _note(slur)
            detach(slur)
            prune_notations(note)


def _note(sign: etree._Element) -> etree._Element:
    return next(sign.iterancestors("note"))


Voice = list[tuple[Key, etree._Element]]


def _places(part: etree._Element, gone: set[etree._Element]) -> tuple[
        dict[etree._Element, tuple[tuple[str, str], Key]], dict[tuple[str, str], Voice]]:
    """Return voice and time of every note, and the struck chords of each voice in time order."""
    places: dict[etree._Element, tuple[tuple[str, str], Key]] = {}
    by_voice: dict[tuple[str, str], Voice] = {}
    for voice, key, event_notes, struck in _timed(part):
        for note in event_notes:
            places[note] = (voice, key)
        line = by_voice.setdefault(voice, [])
        if struck and event_notes[0] not in gone:
            line.append((key, event_notes[0]))
    for line in by_voice.values():
        line.sort(key=lambda item: item[0])
    return places, by_voice


def _timed(part: etree._Element) -> Iterator[
        tuple[tuple[str, str], Key, tuple[etree._Element, ...], bool]]:
    order = 0
    for index, measure in enumerate(part.findall("measure")):
        homes: dict[tuple[int, str], str] = {}  # a voice number may serve two staves
        for event in events(measure):
            order += 1
            home = homes.setdefault((event.run, event.voice), event.staff)
            yield ((event.voice, home), (index, event.onset, int(not event.grace), order),
                   event.notes, not event.rest)


def _after(line: Voice, key: Key) -> etree._Element | None:
    at = bisect_right(line, key, key=lambda item: item[0])
    return line[at][1] if at < len(line) else None


def _before(line: Voice, key: Key) -> etree._Element | None:
    at = bisect_left(line, key, key=lambda item: item[0])
    return line[at - 1][1] if at else None
