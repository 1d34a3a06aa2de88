"""What stands in a harp part besides its notes, as far as a check needs it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class PedalMark:
    """A written pedal mark: ``alters`` by letter, -1, 0 or 1.

    ``full``: a whole setting (diagram or all seven letters); ``text`` as it was written.
    """

    onset: Fraction
    measure: int  # index from 0 into Score.measures
    alters: Mapping[str, int]
    full: bool = False
    text: str = ""


@dataclass(frozen=True, slots=True)
class LeverSign:
    """A lever asked to a pitch; ``octave`` (C4 = middle C) is None where none is written."""

    step: str
    alter: int
    octave: int | None = None


@dataclass(frozen=True, slots=True)
class LeverMark:
    """A written lever mark: all that stands in one text, as it was written."""

    onset: Fraction
    measure: int  # index from 0 into Score.measures
    signs: tuple[LeverSign, ...]
    text: str = ""


@dataclass(frozen=True, slots=True)
class Dynamic:
    """A dynamic sign such as ``ff``, from ``onset`` on."""

    onset: Fraction
    sign: str
    staff: int = 0


@dataclass(frozen=True, slots=True)
class Hairpin:
    """A crescendo (``kind``) or diminuendo wedge."""

    onset: Fraction
    stop: Fraction
    kind: str


@dataclass(frozen=True, slots=True)
class DampSign:
    """A damping sign; ``all``: for the whole harp.

    ``letters``: of the strings it names; "" for whatever sounds.
    """

    onset: Fraction
    all: bool = False
    letters: str = ""


@dataclass(frozen=True, slots=True)
class PianoSign:
    """A sign that belongs to the piano; ``kind`` names it for a reader."""

    onset: Fraction
    measure: int
    kind: str


@dataclass(frozen=True, slots=True)
class Clef:
    """A clef of one staff from ``onset`` on; ``octaves`` it is written to sound higher."""

    onset: Fraction
    staff: int
    sign: str
    line: int
    octaves: int = 0


@dataclass(frozen=True, slots=True)
class PartMarks:
    """All marks of a part, each kind in order of time; ``glides``: words that say glissando."""

    pedals: tuple[PedalMark, ...] = ()
    dynamics: tuple[Dynamic, ...] = ()
    hairpins: tuple[Hairpin, ...] = ()
    damps: tuple[DampSign, ...] = ()
    piano: tuple[PianoSign, ...] = ()
    clefs: tuple[Clef, ...] = ()
    levers: tuple[LeverMark, ...] = ()
    glides: tuple[Fraction, ...] = ()
