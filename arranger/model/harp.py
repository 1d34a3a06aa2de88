"""Strings, pedals and the compass of a harp."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache

from arranger.model.pitch import STEPS, Pitch

#: Pedals from the player's left to right (MusicXML 4.0 harp-pedals).
PEDALS = "DCBEFGA"
LEFT_FOOT = "DCB"
RIGHT_FOOT = "EFGA"
_SIGN = {-1: "♭", 0: "♮", 1: "♯"}
_TOKEN = re.compile(r"([A-G])([#b♯♭♮n]?)")


@dataclass(frozen=True, slots=True, order=True)
class HarpString:
    """One string, named by its diatonic ``position`` (7 times the octave plus 0-6 for C-B)."""

    position: int

    @classmethod
    def of(cls, pitch: Pitch) -> HarpString:
        """Return the string that carries this spelling."""
        return cls(pitch.position)

    @property
    def step(self) -> str:
        """Letter of the string."""
        return STEPS[self.position % 7]

    @property
    def octave(self) -> int:
        """Scientific octave of the string."""
        return self.position // 7

    @property
    def number(self) -> str:
        """Harpist's name, octave first, counted down from the top: 0G, 1E, 4C, 7C.

        Octaves run from E down to F (Morley, "Compass explained"; Moss, string numbering).
        """
        top_of_first = 7 * 7 + STEPS.index("E")  # E7 opens octave 1
        return f"{(top_of_first - self.position) // 7 + 1}{self.step}"

    def pitch(self, alter: int) -> Pitch:
        """Pitch of the string with its pedal at ``alter``."""
        return Pitch(self.step, alter, self.octave)

    def __str__(self) -> str:
        return f"{self.step}{self.octave}"


@dataclass(frozen=True, slots=True, order=True)
class PedalSetting:
    """Positions -1, 0, 1 of the seven pedals in the order D C B E F G A."""

    alters: tuple[int, int, int, int, int, int, int] = (0, 0, 0, 0, 0, 0, 0)

    @classmethod
    def parse(cls, text: str) -> PedalSetting:
        """Read ``D C# Bb | Eb F# G A``, in any order; letters not named stand natural."""
        return cls.of({s: {"#": 1, "♯": 1, "b": -1, "♭": -1}.get(a, 0)
                       for s, a in _TOKEN.findall(text)})

    @classmethod
    def of(cls, alters: Mapping[str, int]) -> PedalSetting:
        """Build from a mapping of letters to alters; letters not named stand natural."""
        d, c, b, e, f, g, a = (alters.get(step, 0) for step in PEDALS)
        return cls((d, c, b, e, f, g, a))

    def alter(self, step: str) -> int:
        """Position of the pedal of this letter."""
        return self.alters[PEDALS.index(step)]

    def with_pedal(self, step: str, alter: int) -> PedalSetting:
        """Return the setting with one pedal moved."""
        return PedalSetting.of({**dict(zip(PEDALS, self.alters, strict=True)), step: alter})

    def pedals_to(self, other: PedalSetting) -> int:
        """Count the pedals that differ."""
        return sum(a != b for a, b in zip(self.alters, other.alters, strict=True))

    def notches_to(self, other: PedalSetting) -> int:
        """Count the notches between two settings; flat to sharp is two."""
        return sum(abs(a - b) for a, b in zip(self.alters, other.alters, strict=True))

    @property
    def pitch_classes(self) -> frozenset[int]:
        """Pitch classes that sound with this setting."""
        return frozenset(Pitch(s, a, 4).pitch_class
                         for s, a in zip(PEDALS, self.alters, strict=True))

    def __str__(self) -> str:
        names = [s + {-1: "b", 0: "", 1: "#"}[a] for s, a in zip(PEDALS, self.alters, strict=True)]
        return " ".join(names[:3]) + " | " + " ".join(names[3:])


def pedal_word(step: str, alter: int) -> str:
    """Letter and sign as printed in a part: ``F♯``, ``C♮``."""
    return step + _SIGN[alter]


@dataclass(frozen=True, slots=True)
class Harp:
    """A harp: compass, how its strings change their pitch, and which do not.

    ``mechanism`` is ``pedal`` (a pedal moves its letter in every octave), ``lever`` (each string
    has its own) or ``chromatic`` (a string for every semitone). ``tuning`` holds the open strings
    of a harp that raises them by one semitone only; without it every letter has its flat, natural
    and sharp. ``retuned`` strings stand apart from the tuning of their letter; ``plain`` strings
    have no lever. ``fixed`` strings are tuned by hand before the piece (C1 and D1, and G7 on some
    pedal harps). ``hands_judged``: whether the limits of hands on the concert harp hold here.
    """

    name: str
    lowest: HarpString
    highest: HarpString
    fixed: frozenset[HarpString] = field(default_factory=frozenset)
    wire_top: HarpString = HarpString(7 * 2 + 4)
    mechanism: str = "pedal"
    tuning: PedalSetting | None = None
    retuned: Mapping[HarpString, int] = field(default_factory=dict, hash=False)
    plain: frozenset[HarpString] = field(default_factory=frozenset)
    hands_judged: bool = True

    @property
    def strings(self) -> tuple[HarpString, ...]:
        """All strings from the lowest up; of a chromatic harp those of the natural notes."""
        return tuple(HarpString(p) for p in range(self.lowest.position, self.highest.position + 1))

    def has(self, string: HarpString) -> bool:
        """Tell whether the harp carries this string."""
        return self.lowest <= string <= self.highest

    def alters(self, string: HarpString) -> tuple[int, ...]:
        """What a string of this harp can be, from its open pitch up."""
        if self.tuning is None:
            return (-1, 0, 1)
        here = self.retuned.get(string, self.tuning.alter(string.step))
        return (here,) if string in self.plain else (here, here + 1)

    def gives(self, pitch: Pitch) -> bool:
        """Tell whether the string of this spelling can sound it."""
        string = HarpString.of(pitch)
        if self.mechanism == "chromatic":
            return self.lowest.pitch(0).midi <= pitch.midi <= self.highest.pitch(0).midi
        return self.has(string) and pitch.alter in self.alters(string)

    def spellings(self, midi: int) -> tuple[Pitch, ...]:
        """Every string and position that sounds this pitch, lower string last."""
        if self.tuning is None and self.mechanism == "pedal":
            return tuple(p for p in spellings(midi) if self.has(HarpString.of(p)))
        return tuple(p for p in spellings(midi) if self.gives(p))

    def nearest(self, step: str, alter: int) -> int:
        """Position of a letter's strings nearest to ``alter``, apart from retuned strings."""
        if self.tuning is None:
            return alter
        here = self.tuning.alter(step)
        return min(max(alter, here), here + 1)


@lru_cache(maxsize=256)
def spellings(midi: int) -> tuple[Pitch, ...]:
    """Spellings of a MIDI pitch with at most one sharp or flat (one for D, G, A; else two)."""
    return tuple(_spell(midi))


def _spell(midi: int) -> Iterator[Pitch]:
    for alter in (-1, 0, 1):
        natural = midi - alter
        for step in STEPS:
            if Pitch(step, 0, natural // 12 - 1).midi == natural:
                yield Pitch(step, alter, natural // 12 - 1)
