"""One ``<part>`` to raw notes: cursor, voices, chords, graces, transposition, signs.

All times are counted on one integer grid for the whole score (``grid`` units to the quarter note,
the least common multiple of all ``divisions``), so they are exact and cheap; a decimal duration
gives a Fraction of the grid and nothing else changes.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction

from lxml import etree

from arranger.io import playing_order, tempo
from arranger.io.loudness import Level, read_levels
from arranger.io.transposition import Transposition
from arranger.model.errors import SourceError
from arranger.model.pitch import STEPS, Pitch
from arranger.model.score import NoteId

Ticks = int | Fraction
#: A note, backup or bar longer than this many quarter notes is a slip or an attack (assumption).
LONGEST = 1024
MOST_IN_CHORD = 100
FINEST = 10**7  # divisions of a quarter note; programs write up to some ten thousand
_NUMBER = re.compile(r"\s*[+-]?\d{1,18}(?:\.\d{0,9})?\s*")
_MARKS = {
    "staccato": "staccato", "spiccato": "staccato", "staccatissimo": "staccatissimo",
    "accent": "accent", "strong-accent": "accent", "fermata": "fermata",
    "arpeggiate": "arpeggiate", "non-arpeggiate": "non-arpeggiate", "harmonic": "harmonic",
    "tremolo": "tremolo", "trill-mark": "trill", "mordent": "mordent",
    "inverted-mordent": "mordent", "turn": "turn", "inverted-turn": "turn",
    "delayed-turn": "turn", "delayed-inverted-turn": "turn", "vertical-turn": "turn",
    "inverted-vertical-turn": "turn", "glissando": "glissando", "slide": "slide"}
_ACCIDENTALS = ("flat", "natural", "sharp")
#: Marks written at one note of a chord but meant for its stem.
_OF_THE_STEM = frozenset({"staccato", "staccatissimo", "accent", "fermata", "tremolo"})
_NONE: frozenset[str] = frozenset()


@dataclass(slots=True)
class Written:
    """A written note; ``offset`` and ``length`` in ticks, from the start of its bar."""

    element: etree._Element
    id: NoteId
    part: str
    bar: int
    offset: Ticks
    length: Ticks
    pitch: Pitch
    staff: int
    voice: str
    grace: bool
    marks: frozenset[str]
    chord: int
    starts_tie: bool
    stops_tie: bool


@dataclass(slots=True)
class Bar:
    """A bar as one part has it. ``length``: how far its notes and rests reach, in ticks."""

    number: str
    beats: int
    beat_type: int
    fifths: int
    length: Ticks = 0
    cut: bool = False  # the metre is a C with a stroke


@dataclass(slots=True)
class Found:
    """What reading gathers; shared by all parts, so that ids and chords count on."""

    name: str
    grid: int
    tempi: list[tuple[int, Ticks, tempo.Sign]] = field(default_factory=list)
    signs: list[playing_order.Sign] = field(default_factory=list)
    levels: list[Level] = field(default_factory=list)
    identified: int = 0
    chords: int = 0


class PartReader:
    """Reads the bars of one part in order; the result is in ``bars``, ``notes``, ``found``."""

    def __init__(self, part: etree._Element, found: Found, *, keep: bool) -> None:
        self.part = part
        self.id = part.get("id", "")
        self.found = found
        self.keep = keep  # False: the bars count, the notes do not
        self.bars: list[Bar] = []
        self.notes: list[Written] = []
        self.staves = 1
        self._unit: Ticks = 0  # ticks to one division; 0 before any divisions are given
        self._metre = (4, 4)
        self._cut = False
        self._fifths = 0
        self._moves: dict[int, Transposition] = {}  # by staff, 0 for all staves
        self._pitches: dict[tuple[object, ...], Pitch] = {}
        self._endings: tuple[int, ...] = ()
        self._read: dict[str, Callable[[etree._Element], None]] = {
            "note": self._note, "backup": self._backup, "forward": self._forward,
            "attributes": self._attributes, "direction": self._direction,
            "sound": self._sound, "barline": self._barline}

    def run(self) -> None:
        """Read the whole part."""
        for measure in self.part.iterchildren("measure"):
            self.index = len(self.bars)
            number = measure.get("number") or str(self.index + 1)
            self.bar = Bar(number, *self._metre, self._key(), cut=self._cut)
            self.bars.append(self.bar)
            self._at: Ticks = 0  # cursor
            self._chord_at: Ticks = 0  # where the last note that is no chord member began
            self._chord_length: Ticks = 0
            self._chord: list[Written] = []
            self._graces: dict[str, list[Written]] = {}  # waiting for the note they lean on
            self._last: dict[str, Ticks] = {}  # onset of the last full note of each voice
            for child in measure:
                read = self._read.get(child.tag)
                if read is not None:
                    read(child)
            self._lean_back()
            if self._endings:
                self._mark_endings()

    def fault(self, what: str) -> SourceError:
        """Return an error that names file, bar and part."""
        bar = f"bar {self.bars[-1].number[:20]}" if self.bars else "start"
        return SourceError(f"{self.found.name}: {bar}, part {self.id[:40]}: {what}")

    def number(self, text: str | None, what: str) -> Ticks:
        """Return a number that may be decimal."""
        if text is not None and _NUMBER.fullmatch(text):
            return int(text) if "." not in text else Fraction(text)
        shown = "missing" if text is None else f"not a number: {text.strip()[:30]!r}"
        raise self.fault(f"{what} is {shown}")

    def whole(self, text: str | None, what: str, low: int, high: int) -> int:
        """Return a whole number from ``low`` to ``high``."""
        value = self.number(text, what)
        if value.denominator != 1 or not low <= value <= high:
            raise self.fault(f"{what} is {(text or '').strip()[:30]}; {low} to {high} can be read")
        return int(value)

    # time

    def _ticks(self, element: etree._Element, text: str | None) -> Ticks:
        value = self.number(text, f"the duration of <{element.tag}>")
        if not self._unit:
            raise self.fault("a duration stands before any <divisions>")
        ticks = value * self._unit
        if not 0 <= ticks <= LONGEST * self.found.grid:
            raise self.fault(f"a duration of {(text or '').strip()[:30]} divisions makes no sense")
        return ticks

    def _fill(self, to: Ticks) -> None:
        """Note that the content of the bar reaches up to here."""
        if to > self.bar.length:
            self.bar.length = to
            if to > LONGEST * self.found.grid:
                raise self.fault(f"the bar is longer than {LONGEST} quarter notes")

    def _backup(self, element: etree._Element) -> None:
        self._lean_back()
        self._at = max(0, self._at - self._ticks(element, element.findtext("duration")))
        self._chord = []

    def _forward(self, element: etree._Element) -> None:
        """Move on; this fills nothing, for programs also use it to place a direction."""
        self._at += self._ticks(element, element.findtext("duration"))
        if self._at > LONGEST * self.found.grid:
            raise self.fault(f"the bar is longer than {LONGEST} quarter notes")
        self._chord = []

    # notes

    def _note(self, note: etree._Element) -> None:
        fields = {child.tag: child for child in note}
        grace = "grace" in fields
        length: Ticks = 0 if grace else self._length(note, fields)
        chord = "chord" in fields
        if not chord:
            self._chord_at, self._chord_length = self._at, length
            self._chord = []
            self.found.chords += 1
            self._at += length
        self._fill(self._chord_at + length)
        if "cue" in fields:
            return
        voice = fields["voice"].text or "1" if "voice" in fields else "1"
        if not grace and not chord:
            self._last[voice] = self._chord_at
            for waiting in self._graces.pop(voice, ()):
                waiting.offset = self._chord_at
        if "pitch" in fields:
            written = self._written(note, fields, voice, grace or not length, length)
            if written.starts_tie:  # lasts up to the tied note, whatever a sloppy file says
                written.length = max(length, self._chord_length)
            if self.keep:
                self.notes.append(written)
            if grace:
                self._graces.setdefault(voice, []).append(written)
            self._share_marks(written)

    def _length(self, note: etree._Element, fields: dict[str, etree._Element]) -> Ticks:
        """Return the length in ticks; a missing duration is taken from the note's value."""
        duration = fields.get("duration")
        if duration is not None or "type" not in fields:
            return self._ticks(note, None if duration is None else duration.text)
        value = tempo.NOTE_VALUES.get((fields["type"].text or "").strip())
        if value is None:
            raise self.fault("a note without duration")
        value = tempo.dotted(value, len(note.findall("dot")))
        change = fields.get("time-modification")
        if change is not None:
            value *= Fraction(self.whole(change.findtext("normal-notes"), "a tuplet", 1, 999),
                              self.whole(change.findtext("actual-notes"), "a tuplet", 1, 999))
        return value * self.found.grid

    def _written(self, note: etree._Element, fields: dict[str, etree._Element], voice: str,
                 grace: bool, length: Ticks) -> Written:
        self.found.identified += 1
        staff = 1
        if "staff" in fields:
            staff = self.whole(fields["staff"].text, "the staff", 1, 20)
            self.staves = max(self.staves, staff)
        starts, stops, marks = False, False, _NONE
        if "notations" in fields:
            starts, stops, marks = self._notations(note)
        if "tie" in fields:
            kinds = {tie.get("type") for tie in note.iterchildren("tie")}
            starts, stops = "start" in kinds, "stop" in kinds
        return Written(
            note, f"n{self.found.identified}", self.id, self.index, self._chord_at, length,
            self._pitch(fields["pitch"], staff), staff, voice, grace, marks, self.found.chords,
            starts and not grace, stops and not grace)

    def _pitch(self, pitch: etree._Element, staff: int) -> Pitch:
        key = (self._moves.get(staff), *[(child.tag, child.text) for child in pitch])
        known = self._pitches.get(key)
        if known is None:
            step = (pitch.findtext("step") or "").strip().upper()
            if len(step) != 1 or step not in STEPS:
                raise self.fault(f"{step[:20]!r} is no step of a pitch")
            octave = self.whole(pitch.findtext("octave"), "the octave", -1, 10)
            alter = self.number(pitch.findtext("alter") or "0", "the alteration")
            if alter.denominator != 1:
                raise self.fault(f"a quarter tone (alter {alter}) cannot be played on the harp")
            if not -12 <= alter <= 12:
                raise self.fault(f"an alteration of {alter} semitones makes no sense")
            move = self._moves.get(staff) or self._moves.get(0) or Transposition()
            known = self._pitches[key] = move.sounding(step, int(alter), octave)
        return known

    def _notations(self, note: etree._Element) -> tuple[bool, bool, frozenset[str]]:
        """Return whether ``<tied>`` starts and stops here, and the marks."""
        marks: set[str] = set()
        ties: set[str | None] = set()
        for notations in note.iterchildren("notations"):
            for child in notations:
                if child.tag == "tied":
                    ties.add(child.get("type"))
                elif child.tag in ("articulations", "ornaments", "technical"):
                    marks.update(_MARKS[c.tag] for c in child if c.tag in _MARKS)
                    marks.update(_beside_ornament(child))
                elif child.tag in _MARKS:
                    marks.add(_MARKS[child.tag])
        if "let-ring" in ties:
            marks.add("let-ring")
        return "start" in ties, "stop" in ties, frozenset(marks)

    def _share_marks(self, note: Written) -> None:
        """Give the marks of the stem to every note of the chord."""
        self._chord.append(note)
        if len(self._chord) > MOST_IN_CHORD:
            raise self.fault(f"a chord of more than {MOST_IN_CHORD} notes makes no sense")
        if len(self._chord) > 1:
            shared = (self._chord[0].marks | note.marks) & _OF_THE_STEM
            for member in self._chord if shared else ():
                member.marks |= shared

    def _lean_back(self) -> None:
        """Let graces that no note follows come at the very end of the note before.

        A pedal may move under that note, so it matters when. One that only other voices go on after
        stays where it stands.
        """
        for voice, waiting in self._graces.items():
            last = self._last.get(voice, self._at)
            for grace in waiting:
                if grace.offset == self._at and last < self._at:
                    grace.offset = self._at - min(self.found.grid // 16, (self._at - last) // 2)
        self._graces.clear()

    # attributes and signs

    def _attributes(self, attributes: etree._Element) -> None:
        for child in attributes:
            if child.tag == "divisions":
                self._divisions(child.text)
            elif child.tag == "time":
                self._time(child)
            elif child.tag == "key" and child.findtext("fifths") is not None:
                self._fifths = self.whole(child.findtext("fifths"), "the key signature", -14, 14)
            elif child.tag == "staves":
                self.staves = max(self.staves, self.whole(child.text, "the staves", 1, 20))
            elif child.tag == "transpose":
                self._transpose(child)
        if self._at == 0:
            self.bar.beats, self.bar.beat_type = self._metre
            self.bar.cut = self._cut
            self.bar.fifths = self._key()

    def _key(self) -> int:
        """The key signature in force, at concert pitch."""
        return (self._moves.get(0) or self._moves.get(1) or Transposition()).key(self._fifths)

    def _divisions(self, text: str | None) -> None:
        value = self.number(text, "<divisions>")
        if not 0 < value <= FINEST:
            raise self.fault(f"{value} divisions of a quarter note make no sense")
        unit = Fraction(self.found.grid) / value
        self._unit = int(unit) if unit.denominator == 1 else unit

    def _time(self, time: etree._Element) -> None:
        types = [self.whole(t.text, "the metre", 1, 256) for t in time.iterchildren("beat-type")]
        beats = [sum(self.whole(n, "the metre", 1, 256) for n in (b.text or "").split("+"))
                 for b in time.iterchildren("beats")]
        if types and len(types) == len(beats):
            self._cut = time.get("symbol") == "cut"
            finest = max(types)
            total = sum(Fraction(n * finest, t) for n, t in zip(beats, types, strict=True))
            self._metre = (int(total), finest) if total.denominator == 1 else (beats[0], types[0])

    def _transpose(self, element: etree._Element) -> None:
        chromatic = self.whole(element.findtext("chromatic"), "the transposition", -60, 60)
        diatonic = element.findtext("diatonic")
        steps = None if diatonic is None else self.whole(diatonic, "the transposition", -40, 40)
        octaves = self.whole(element.findtext("octave-change") or "0", "the transposition", -5, 5)
        staff = self.whole(element.get("number", "0"), "the staff", 0, 20)
        if staff == 0:
            self._moves.clear()
        self._moves[staff] = Transposition.of(chromatic, steps, octaves)
        self._pitches.clear()

    def _direction(self, direction: etree._Element) -> None:
        sign = tempo.read_direction(direction)
        if sign is not None:  # the offset of a sound counts instead of its direction's
            at = self._meant(direction, direction.findtext("sound/offset"))
            self.found.tempi.append((self.index, at, sign))
        self.found.levels += read_levels(direction, self.id, self.index, self._meant(direction))
        self.found.signs += playing_order.read_direction(direction, self.index)

    def _meant(self, sign: etree._Element, offset: str | None = None) -> Ticks:
        """Return the ticks into the bar at which a sign takes effect; ``offset`` if it has none."""
        offset = offset or sign.findtext("offset")
        return max(0, self._at + (self.number(offset, "an offset") * self._unit if offset else 0))

    def _sound(self, sound: etree._Element) -> None:
        sign = tempo.read_sound(sound)
        if sign is not None:
            self.found.tempi.append((self.index, self._meant(sound), sign))
        self.found.signs += playing_order.read_sound(sound, self.index)

    def _barline(self, barline: etree._Element) -> None:
        try:
            signs = playing_order.read_barline(barline, self.index)
        except ValueError as error:
            raise self.fault(str(error)) from error
        self.found.signs += signs
        if any(sign.kind == "forward" for sign in signs):
            self._endings = ()
        ending = barline.find("ending")
        if ending is not None and ending.get("type") == "start":
            self._endings = playing_order.ending_numbers(ending)
        elif ending is not None:
            self._mark_endings()
            self._endings = ()

    def _mark_endings(self) -> None:
        self.found.signs += [playing_order.Sign(self.index, "ending", n) for n in self._endings]


def _beside_ornament(ornaments: etree._Element) -> Iterator[str]:
    """Yield what is said of an ornament's other note: its accidental, or that it is the upper."""
    for child in ornaments:
        text = (child.text or "").strip()
        if child.tag == "inverted-mordent":
            yield "inverted"
        elif child.tag == "accidental-mark" and text in _ACCIDENTALS:
            yield f"{'below' if child.get('placement') == 'below' else 'above'}-{text}"
