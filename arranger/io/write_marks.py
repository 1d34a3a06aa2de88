"""Rolls, fingers and ids at the notes of a harp part."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction

from lxml import etree

from arranger.io.write_order import detach, element, forget, notations, prune_notations
from arranger.model.draft import HarpNote
from arranger.model.placed_groups import TENTH, finger_hints
from arranger.model.score import NoteId

Elements = Mapping[NoteId, tuple[etree._Element, ...]]


def struck(note: HarpNote, elements: Elements) -> list[etree._Element]:
    """Return the written notes at the onset of a note: its own, then its duplicates'."""
    ids = dict.fromkeys((note.id, *note.source.source_ids))
    return [elements[i][0] for i in ids if elements.get(i)]


def write_rolls(part: etree._Element, notes: Iterable[HarpNote], elements: Elements) -> None:
    """Write ``<arpeggiate>`` at every note of a rolled chord and nowhere else.

    A roll over both hands has one number, so that one sign is drawn. A direction the source
    gave stays; signs against rolling stay at notes that are not rolled.
    """
    rolled = [note for note in notes if note.rolled]
    hands: dict[tuple[Fraction, bool], set[str]] = {}
    for note in rolled:
        hands.setdefault((note.onset, note.source.grace), set()).add(note.hand)
    wanted: dict[etree._Element, str | None] = {}
    for note in rolled:
        both = len(hands[note.onset, note.source.grace]) == 2
        wanted.update(dict.fromkeys(struck(note, elements), "1" if both else None))
    for item in part.iterfind("measure/note"):
        if item in wanted:
            _roll(item, wanted[item])
        else:
            for sign in item.findall("notations/arpeggiate"):
                detach(sign)
            prune_notations(item)


def _roll(note: etree._Element, number: str | None) -> None:
    for other in note.findall("notations/non-arpeggiate"):
        detach(other)
    sign, *more = note.findall("notations/arpeggiate") or [element("arpeggiate")]
    for double in more:
        detach(double)
    if sign.getparent() is None:
        notations(note).append(sign)
    forget(sign, "number", "default-x", "default-y", "relative-x", "relative-y")
    if number:
        sign.set("number", number)


def write_fingers(part: etree._Element, notes: Sequence[HarpNote], elements: Elements,
                  shown: str, span: int = TENTH) -> None:
    """Write fingers 1-4 at the struck notes; no others stay.

    ``shown`` is ``all``, ``hints`` (where a placed group begins or a line changes hand) or
    ``none``. Of duplicates the first in the file shows the finger. ``span``: string steps of the
    player's hand.
    """
    rank = {note: at for at, note in enumerate(part.iterfind("measure/note"))}
    for note in rank:
        for old in note.findall("notations/technical/fingering"):
            detach(old)
            prune_notations(note)
    if shown == "none":
        return
    hints = finger_hints(notes, span) if shown == "hints" else None
    for plan in notes:
        if plan.finger is None or (hints is not None and plan.id not in hints):
            continue
        group = notations(min(struck(plan, elements), key=rank.__getitem__))
        technical = group.find("technical")
        if technical is None:
            technical = etree.SubElement(group, "technical")
        technical.append(element("fingering", str(plan.finger)))


def write_ids(root: etree._Element, notes: Iterable[HarpNote], elements: Elements) -> None:
    """Give each struck note its id; every other element that has the same one loses it."""
    ids = {struck(note, elements)[0]: note.id for note in notes}
    taken = set(ids.values())
    seen: set[str] = set()
    for item in root.iter(etree.Element):
        if item in ids or "id" not in item.attrib or item.tag in ("part", "midi-instrument",
                                                                  "midi-device", "instrument"):
            continue
        if item.get("id") in taken or item.get("id") in seen:
            if item.tag not in ("score-part", "score-instrument"):
                del item.attrib["id"]
        else:
            seen.add(item.get("id", ""))
    for note, ident in ids.items():
        note.set("id", ident)
