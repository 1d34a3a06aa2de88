"""A measure of MusicXML as events: chords, lone notes and rests, each with its place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache

from lxml import etree

from arranger.io.write_divisions import duration, step
from arranger.model.draft import HarpNote
from arranger.model.pitch import Pitch

STAFF = {"R": "1", "L": "2"}


@dataclass(frozen=True, slots=True)
class Event:
    """What one stem carries, or a rest. ``onset`` and ``length`` in divisions, in the measure.

    ``run`` counts the stretches between backups: one voice number in two runs is two voices.
    """

    notes: tuple[etree._Element, ...]
    onset: Fraction
    length: Fraction
    run: int

    @property
    def head(self) -> etree._Element:
        """The first note: it carries what belongs to the whole chord."""
        return self.notes[0]

    @property
    def grace(self) -> bool:
        """Grace notes take no time."""
        return self.head.find("grace") is not None

    @property
    def rest(self) -> bool:
        """Tell whether nothing is struck."""
        return self.head.find("rest") is not None

    @property
    def voice(self) -> str:
        """Voice of the head."""
        return (self.head.findtext("voice") or "1").strip()

    @property
    def staff(self) -> str:
        """Staff of the head."""
        return staff_of(self.head)

    @property
    def end(self) -> Fraction:
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


def staff_of(note: etree._Element) -> str:
    """Return the staff of a note; 1 where none is given."""
    return (note.findtext("staff") or "1").strip()


def pitch_of(note: etree._Element) -> Pitch | None:
    """Return the written pitch; None for rests, drums and quarter tones."""
    pitch = note.find("pitch")
    if pitch is None:
        return None
    return _pitch(pitch.findtext("step") or "C", pitch.findtext("alter") or "0",
                  pitch.findtext("octave") or "4")


@lru_cache(maxsize=1024)
def _pitch(step: str, alter: str, octave: str) -> Pitch | None:
    exact = Fraction(alter.strip())
    return Pitch(step.strip(), int(exact), int(octave)) if exact.denominator == 1 else None


def events(measure: etree._Element) -> list[Event]:
    """Return the events of a measure in document order."""
    found: list[Event] = []
    chord: list[etree._Element] = []
    at = Fraction(0)
    start = length = Fraction(0)
    run = 0

    def close() -> None:
        if chord:
            found.append(Event(tuple(chord), start, length, run))
            chord.clear()

    for child in measure:
        if child.tag == "note" and child.find("chord") is not None and chord:
            chord.append(child)
            continue
        if child.tag in ("note", "backup", "forward"):
            close()
        if child.tag == "note":
            chord.append(child)
            start, length = at, Fraction(0) if child.find("grace") is not None else duration(child)
        elif child.tag == "backup":
            run += 1
        at = max(at + step(child), Fraction(0))
    close()
    return found


def streams(measure: etree._Element) -> list[list[Event]]:
    """Return the events that follow one another in one voice, graces apart from the rest."""
    by_voice: dict[tuple[int, str, bool], list[Event]] = {}
    for event in events(measure):
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
