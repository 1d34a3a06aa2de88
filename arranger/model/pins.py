"""What the arranger has decided beforehand: demands on single notes and on moments of pedals."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from types import MappingProxyType

from arranger.model.pitch import Pitch
from arranger.model.score import NoteId


@dataclass(frozen=True, slots=True)
class Pin:
    """What is asked of one note; what is left empty stays free.

    ``pitches``: the note sounds, spelled (that is, on the string) as one of these. They may lie
    octaves away or be other notes than the written one; the price of such a change is paid all
    the same. ``drop``: the note is left out. ``hand`` R or L, ``finger`` 1 to 4. ``rolled``: its
    chord in this hand is (or is not) rolled.
    """

    pitches: tuple[Pitch, ...] = ()
    drop: bool = False
    hand: str = ""
    finger: int | None = None
    rolled: bool | None = None

    def allows_hand(self, hand: str, finger: int | None = None) -> bool:
        """Tell whether this hand, with this finger if one is named, may take the note."""
        return self.hand in ("", hand) and (
            finger is None or self.finger is None or finger == self.finger)

    def and_also(self, other: Pin) -> Pin | None:
        """Both pins at once; None if they contradict each other."""
        pitches = (tuple(p for p in self.pitches if p in other.pitches)
                   if self.pitches and other.pitches else self.pitches or other.pitches)
        none_left = bool(self.pitches and other.pitches) and not pitches
        rolls = {r for r in (self.rolled, other.rolled) if r is not None}
        fingers = {f for f in (self.finger, other.finger) if f is not None}
        hands = {h for h in (self.hand, other.hand) if h}
        drop = self.drop or other.drop
        kept = bool(pitches or hands or fingers or rolls)
        twice = len(rolls) > 1 or len(fingers) > 1 or len(hands) > 1
        if none_left or twice or (drop and kept):
            return None
        return Pin(pitches, drop, next(iter(hands), ""), next(iter(fingers), None),
                   next(iter(rolls), None))


FREE = Pin()


@dataclass(frozen=True, slots=True)
class PedalPin:
    """The move by which ``pedal`` comes to ``alter`` stands at ``onset`` (quarter notes)."""

    pedal: str
    alter: int
    onset: Fraction


@dataclass(frozen=True, slots=True)
class Pins:
    """All demands on a piece: by note, and on the moments of pedal moves."""

    notes: Mapping[NoteId, Pin] = field(default_factory=lambda: MappingProxyType({}))
    pedals: tuple[PedalPin, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.notes or self.pedals)

    def of(self, note: NoteId) -> Pin:
        """What is asked of a note."""
        return self.notes.get(note, FREE)

    def plus(self, other: Pins) -> Pins:
        """Both; of a note that both name what ``other`` asks counts where they contradict."""
        notes = dict(self.notes)
        for ident, pin in other.notes.items():
            both = notes.get(ident, FREE).and_also(pin)
            notes[ident] = pin if both is None else both
        pedals = tuple(dict.fromkeys((*self.pedals, *other.pedals)))
        return replace(self, notes=MappingProxyType(notes), pedals=pedals)

    def without(self, notes: Iterable[NoteId]) -> Pins:
        """These pins, but for those of some notes."""
        gone = frozenset(notes)
        return replace(self, notes=MappingProxyType(
            {n: p for n, p in self.notes.items() if n not in gone}))
