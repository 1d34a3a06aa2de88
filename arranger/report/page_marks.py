"""What is marked on the engraved draft: which note, with which shape, number and words."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Literal

from arranger.report.wording import (
    SEVERITIES,
    Entry,
    at_every_place,
    by_kind,
    message,
    place,
    plain,
)

Shape = Literal["ring", "box", "caret", "lozenge"]
#: Shape of a mark in words, as the key beside the score explains it.
SHAPE_WORDS: Mapping[Shape, str] = {
    "lozenge": "a finding: look at this place",
    "ring": "sounds otherwise than in the source",
    "caret": "a note of the source is missing here",
    "box": "sounds as in the source, played in another way",
}


@dataclass(frozen=True, slots=True)
class Mark:
    """One mark. ``note`` is the id of a note of the draft, ``target`` the id of the list entry.

    ``id`` is empty on all marks of an entry but the first; only that one can be jumped to. ``kind``
    is what the page's filters go by.
    """

    note: str
    shape: Shape
    sign: str
    words: str
    target: str
    id: str = ""
    grave: bool = False
    kind: str = ""


@dataclass(frozen=True, slots=True)
class Item:
    """An entry of the ledger or of the findings with its sign and its marks on the score."""

    entry: Entry
    sign: str
    id: str
    heading: str
    marks: tuple[Mark, ...]


def letters(count: int) -> str:
    """Letter the findings: 0 is a, 25 is z, 26 is aa."""
    out = ""
    count += 1
    while count:
        count, rest = divmod(count - 1, 26)
        out = chr(ord("a") + rest) + out
    return out


def alteration_items(report: Mapping[str, Any]) -> tuple[Item, ...]:
    """Number the ledger in the order of the list: by kind, then along the score."""
    notes = _Notes(report["notes"])
    found: list[Item] = []
    for heading, entries in by_kind(report.get("ledger", ())):
        for entry in entries:
            sign = str(len(found) + 1)
            anchors = notes.known(n["id"] for n in entry["after"])
            shape: Shape = "box" if entry["fidelity"] == "same-sound" else "ring"
            if not entry["after"] or not anchors:
                shape, anchors = "caret", notes.near(entry)
            found.append(_item(entry, sign, f"alteration-{sign}", heading, shape, anchors))
    return tuple(found)


def finding_items(report: Mapping[str, Any]) -> tuple[Item, ...]:
    """Letter the findings: the gravest first, then along the score."""
    notes = _Notes(report["notes"])
    order = list(SEVERITIES)
    ranked = sorted(report["findings"],
                    key=lambda f: (order.index(f["severity"]), Fraction(f["onset"])))
    found: list[Item] = []
    for entry in ranked:
        sign = letters(len(found))
        anchors = notes.known(entry["notes"]) or tuple(dict.fromkeys(
            note for here in at_every_place([entry]) for note in notes.near(here)))
        found.append(_item(entry, sign, f"finding-{sign}", SEVERITIES[entry["severity"]],
                           "lozenge", anchors))
    return tuple(found)


def _item(entry: Entry, sign: str, target: str, heading: str, shape: Shape,
          anchors: Sequence[str]) -> Item:
    said = message(entry) if "message" in entry else plain(entry["reason"])
    words = f"{sign}: {place(entry)}, {heading}. {said}"
    grave = entry.get("severity") == "error"
    marks = tuple(Mark(note, shape, "" if at else sign, words, target,
                       "" if at else f"mark-{target}", grave, heading)
                  for at, note in enumerate(anchors))
    return Item(entry, sign, target, heading, marks)


class _Notes:
    """Looks up the notes of the draft by their own id, a source id, or a place."""

    def __init__(self, notes: Sequence[Entry]) -> None:
        self._by_id = {s: str(n["id"]) for n in notes for s in (*n["source_ids"], n["id"])}
        self._by_onset: dict[Fraction, list[Entry]] = defaultdict(list)
        for note in notes:
            self._by_onset[Fraction(note["onset"])].append(note)

    def known(self, ids: Iterable[str]) -> tuple[str, ...]:
        """Return the ids of the draft's notes that stand for these, without repeats."""
        return tuple(dict.fromkeys(self._by_id[i] for i in ids if i in self._by_id))

    def near(self, entry: Entry) -> tuple[str, ...]:
        """Return the note struck at the entry's onset, nearest to the pitch that is gone."""
        here = self._by_onset.get(Fraction(entry["onset"]), [])
        gone = [n["midi"] for n in entry.get("before", ())]
        middle = gone[0] if gone else 0
        nearest = min(here, key=lambda n: (abs(n["midi"] - middle), n["midi"]), default=None)
        return () if nearest is None else (str(nearest["id"]),)
