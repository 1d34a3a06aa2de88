"""A measure of MusicXML as events: chords, lone notes and rests, each with its place."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache

from lxml import etree

from arranger.io.write_divisions import Ticks, duration
from arranger.io.write_order import first, first_text
from arranger.model.draft import HarpNote
from arranger.model.pitch import Pitch

STAFF = {"R": "1", "L": "2"}


@dataclass(frozen=True, slots=True)
class Event:
    """What one stem carries, or a rest. ``onset`` and ``length`` in divisions, in the measure.

    ``run`` counts the stretches between backups: one voice number in two runs is two voices.
    """

    notes: tuple[etree._Element, ...]
    onset: Ticks
    length: Ticks
    run: int

    @property
    def head(self) -> etree._Element:
        """The first note: it carries what belongs to the whole chord."""
        return self.notes[0]

    @property
    def grace(self) -> bool:
        """Grace notes take no time."""
        return first(self.head, "grace") is not None

    @property
    def rest(self) -> bool:
        """Tell whether nothing is struck."""
        return first(self.head, "rest") is not None

    @property
    def voice(self) -> str:
        """Voice of the head."""
        return (first_text(self.head, "voice") or "1").strip()

    @property
    def staff(self) -> str:
        """Staff of the head."""
        return staff_of(self.head)

    @property
    def end(self) -> Ticks:
        """Where the event ends, in divisions from the start of the measure."""
        return self.onset + self.length

    @property
    def rhythm(self) -> tuple[str, ...]:
        """Written value: events of equal rhythm can share a stem."""
        change = self.head.find("time-modification")
        ratio = () if change is None else (change.findtext("actual-notes") or "",
                                           change.findtext("normal-notes") or "")
        return (self.head.findtext("type") or "", str(len(self.head.findall("dot"))), *ratio)


@dataclass(slots=True)
class Patch:
    """What becomes of the notes of the part, and what has been done to them so far.

    ``fate`` holds a HarpNote for a note that is kept and None for one that is left out; notes it
    does not name stay as they are.
    """

    fate: dict[etree._Element, HarpNote | None]
    rests: set[etree._Element] = field(default_factory=set)  # were notes
    doomed: set[etree._Element] = field(default_factory=set)  # graces that are to go
    repitched: set[etree._Element] = field(default_factory=set)
    restem: set[etree._Element] = field(default_factory=set)  # stem direction is open again
    arrived: set[etree._Element] = field(default_factory=set)  # came from the other staff
    unbeamed: set[etree._Element] = field(default_factory=set)  # left a beamed chord for it


def staff_of(note: etree._Element) -> str:
    """Return the staff of a note; 1 where none is given."""
    return (first_text(note, "staff") or "1").strip()


def pitch_of(note: etree._Element) -> Pitch | None:
    """Return the written pitch; None for rests, drums and quarter tones."""
    pitch = first(note, "pitch")
    if pitch is None:
        return None
    said = {child.tag: child.text for child in pitch}
    return _pitch(said.get("step") or "C", said.get("alter") or "0", said.get("octave") or "4")


@lru_cache(maxsize=1024)
def _pitch(step: str, alter: str, octave: str) -> Pitch | None:
    exact = Fraction(alter.strip())
    return Pitch(step.strip(), int(exact), int(octave)) if exact.denominator == 1 else None


def events(measure: etree._Element) -> list[Event]:
    """Return the events of a measure in document order."""
    found: list[Event] = []
    chord: list[etree._Element] = []
    at: Ticks = 0
    start: Ticks = 0
    length: Ticks = 0
    run = 0

    def close() -> None:
        if chord:
            found.append(Event(tuple(chord), start, length, run))
            chord.clear()

    for child in measure:
        if child.tag == "note":
            signs = [sign.tag for sign in child.iterchildren("chord", "grace")]
            member = "chord" in signs
            if member and chord:
                chord.append(child)
                continue
            close()
            chord.append(child)
            start, length = at, 0 if "grace" in signs else duration(child)
            at += 0 if member else length
        elif child.tag == "backup":
            close()
            run += 1
            at = max(at - duration(child), 0)
        elif child.tag == "forward":
            close()
            at += duration(child)
    close()
    return found


def streams(found: Iterable[Event]) -> list[list[Event]]:
    """Return the events that follow one another in one voice, graces apart from the rest."""
    by_voice: dict[tuple[int, str, bool], list[Event]] = {}
    for event in found:
        by_voice.setdefault((event.run, event.voice, event.grace), []).append(event)
    return list(by_voice.values())


def runs(measure: etree._Element) -> Iterator[list[etree._Element]]:
    """Yield the notes of a measure between one ``<backup>`` and the next."""
    run: list[etree._Element] = []
    for child in measure:
        if child.tag == "backup":
            yield run
            run = []
        elif child.tag == "note":
            run.append(child)
    yield run
