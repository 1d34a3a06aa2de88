"""Drafts of small scores, written and looked at: shared by the tests of the writer."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from fractions import Fraction
from itertools import pairwise

import pytest
from lxml import etree

from arranger.io.document import Document
from arranger.io.harp_part import as_harp_part
from arranger.io.musicxml_read import read
from arranger.io.musicxml_write import write
from arranger.io.tempo import NOTE_VALUES
from arranger.io.write_divisions import divisions_by_measure
from arranger.io.write_events import events, streams
from arranger.model.draft import Draft, HarpNote, PedalPlan
from arranger.model.pitch import Pitch
from tests.handwritten import backup, note
from tests.schema import validate

HAND = {1: "R", 2: "L"}
LEFT = backup(16) + note("C2", 16, voice=5, staff=2)


def document_of(root: etree._Element, ids: tuple[str, ...] = ("P1",)) -> Document:
    return read(as_harp_part(root, ids).root, "test")


def draft_of(document: Document, part_id: str = "P1", *, drop: str = "",
           pitch: Mapping[str, str] | None = None, hand: Mapping[str, str] | None = None,
           finger: Mapping[str, int] | None = None, rolled: str = "",
           plan: PedalPlan | None = None) -> Draft:
    """Every note as it is, save what is named by pitch, or by ``pitch@onset``."""
    def named(n, table):
        for key in (n.pitch.name, f"{n.pitch.name}@{n.onset}"):
            if key in table:
                return key
        return ""

    notes = []
    for n in document.score.part_notes(part_id):
        if named(n, drop.split()):
            continue
        new = (pitch or {}).get(named(n, pitch or {}))
        notes.append(HarpNote(
            n, Pitch.parse(new) if new else n.pitch,
            (hand or {}).get(named(n, hand or {}), HAND[n.staff]),
            (finger or {}).get(named(n, finger or {})), bool(named(n, rolled.split()))))
    return Draft(document.score, part_id, tuple(notes), plan or PedalPlan())


def written(root: etree._Element, **change: object) -> etree._Element:
    """Write a changed draft of a small score, check it in general, return its harp part."""
    document = document_of(root)
    draft = draft_of(document, **change)  # type: ignore[arg-type]
    return checked(document, draft)


def checked(document: Document, draft: Draft, **options: object) -> etree._Element:
    out = write(document, draft, **options)  # type: ignore[arg-type]
    assert validate(out) == []
    root = etree.fromstring(out)
    assert heard(read(root), draft.part) == planned(draft)
    harp = root.findall("part")[-1]
    for problem in (*loose_beams(harp), *overlaps(harp), *loose_slurs(harp)):
        pytest.fail(problem)
    return harp


def planned(draft: Draft) -> Counter[tuple[object, ...]]:
    return Counter((n.onset, n.pitch, n.hand) for n in draft.notes)


def heard(document: Document, part_id: str) -> Counter[tuple[object, ...]]:
    return Counter((n.onset, n.pitch, HAND[n.staff])
                   for n in document.score.part_notes(part_id))


def loose_beams(harp: etree._Element) -> list[str]:
    """Beams that begin or end nowhere, or at a rest; broken beams of a source would show too."""
    found = []
    for measure in harp.findall("measure"):
        for stream in streams(events(measure)):
            open_levels: set[str] = set()
            for event in stream:
                for beam in event.head.findall("beam"):
                    level, state = beam.get("number", "1"), beam.text or ""
                    if event.rest and state in ("begin", "end"):
                        found.append(f"bar {measure.get('number')}: a beam at a rest")
                    if "hook" in state:
                        continue
                    if (state == "begin") == (level in open_levels):
                        found.append(f"bar {measure.get('number')}: beam {level} {state}")
                    (open_levels.discard if state == "end" else open_levels.add)(level)
            if open_levels:
                found.append(f"bar {measure.get('number')}: an open beam")
    return found


def overlaps(harp: etree._Element) -> list[str]:
    """Two events of one voice that sound together."""
    found = []
    for measure in harp.findall("measure"):
        voices: dict[tuple[int, str], list[tuple[Fraction, Fraction]]] = {}
        for event in events(measure):
            if not event.grace:
                voices.setdefault((event.run, event.voice), []).append((event.onset, event.end))
        by_voice: dict[str, list[tuple[Fraction, Fraction]]] = {}
        for (_, voice), spans in voices.items():
            by_voice.setdefault(voice, []).extend(spans)
        for voice, spans in by_voice.items():
            spans.sort()
            if any(b[0] < a[1] for a, b in pairwise(spans)):
                found.append(f"bar {measure.get('number')}: voice {voice} overlaps itself")
    return found


def wrong_values(harp: etree._Element) -> list[str]:
    """Notes whose type, dots and tuplet do not say how long they last."""
    found = []
    for measure, divisions in divisions_by_measure(harp):
        for n in measure.iterfind("note[type]"):
            length = NOTE_VALUES[n.findtext("type")] * (2 - Fraction(1, 2 ** len(n.findall("dot"))))
            if n.find("time-modification") is not None:
                length *= Fraction(int(n.findtext("time-modification/normal-notes")),
                                   int(n.findtext("time-modification/actual-notes")))
            if n.find("grace") is None and length != Fraction(n.findtext("duration")) / divisions:
                found.append(f"bar {measure.get('number')}: {n.findtext('type')} is not {length}")
    return found


def loose_slurs(harp: etree._Element) -> list[str]:
    kinds = Counter((s.get("number", "1"), s.get("type")) for s in harp.iter("slur"))
    return [f"slur {n}: {kinds[n, 'start']} starts, {kinds[n, 'stop']} stops"
            for n in {n for n, _ in kinds} if kinds[n, "start"] != kinds[n, "stop"]]


def shown(harp: etree._Element) -> list[str]:
    """The notes in file order: name or r, staff, + for a chord member, voice."""
    lines = []
    for n in harp.iterfind("measure/note"):
        p = n.find("pitch")
        name = "r" if p is None else Pitch(
            p.findtext("step"), int(p.findtext("alter") or 0), int(p.findtext("octave"))).name
        plus = "+" if n.find("chord") is not None else ""
        lines.append(f"{plus}{name}/{n.findtext('staff')}")
    return lines
