"""A bar in which no pedal moves: its altered notes become other notes of the harmony.

Berlioz (1855, "La harpe") corrects a bar that moves two pedals in this way: semitone steps around
the notes of the chord become leaps within it, the rhythm stays.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction

from arranger.model.harp import PEDALS, Harp, HarpString, PedalSetting
from arranger.model.pins import Pin, Pins
from arranger.model.pitch import Pitch
from arranger.model.score import Note
from arranger.plan.settings import key_setting

#: Semitones within which another note may stand in (assumption: a fifth, as in Berlioz's bar).
_NEAR = 7
_TRIADS = ((0, 4, 7), (0, 3, 7))


def standing(notes: Sequence[Note], bar: int, fifths: int) -> PedalSetting:
    """Setting that most notes of a bar and its neighbours ask for, on a tie that of the key."""
    asked: dict[str, Counter[int]] = {step: Counter() for step in PEDALS}
    for note in notes:
        if abs(note.measure - bar) <= 1 and abs(note.pitch.alter) <= 1:
            asked[note.pitch.step][note.pitch.alter] += 1
    key = key_setting(fifths)
    return PedalSetting.of({step: _most(count, key.alter(step)) for step, count in asked.items()})


def _most(count: Counter[int], usual: int) -> int:
    """The position asked for most, on a tie the usual one."""
    return max(sorted(count), key=lambda a: (count[a], a == usual)) if count else usual


def altered_notes(notes: Sequence[Note], bar: int, setting: PedalSetting) -> list[Note]:
    """Notes of a bar that no string gives as the pedals stand."""
    return [n for n in notes if n.measure == bar and not n.grace
            and n.midi % 12 not in setting.pitch_classes]


def still_pins(notes: Sequence[Note], bar: int, fifths: int, harp: Harp) -> Pins:
    """Pins of all notes of a bar that keep the pedals still; none where that cannot be had."""
    setting = standing(notes, bar, fifths)
    altered = {n.id for n in altered_notes(notes, bar, setting)}
    here = [n for n in notes if n.measure == bar and not n.grace]
    if not altered or 2 * len(altered) > len(here):
        return Pins()
    chord = _harmony([n for n in here if n.id not in altered])
    pins = {}
    for note in here:
        own = _spelled(note.midi, setting, harp)
        pins[note.id] = Pin(own) if own else _stand_in(note, here, chord, setting, harp)
    return Pins(pins)


def _spelled(midi: int, setting: PedalSetting, harp: Harp) -> tuple[Pitch, ...]:
    """Strings that sound a pitch as the pedals stand."""
    return tuple(p for p in harp.spellings(midi)
                 if setting.alter(p.step) == p.alter and HarpString.of(p) not in harp.fixed)


def _harmony(notes: Sequence[Note]) -> frozenset[int]:
    """The triad that most of these notes belong to, by the time they last."""
    weights: Counter[int] = Counter()
    for note in notes:
        weights[note.midi % 12] += int(note.duration * 48) + 1
    triads = [frozenset((root + i) % 12 for i in triad) for triad in _TRIADS for root in range(12)]
    return max(triads, key=lambda t: (sum(weights[pc] for pc in t), -triads.index(t)))


def _stand_in(note: Note, here: Sequence[Note], chord: frozenset[int], setting: PedalSetting,
              harp: Harp) -> Pin:
    """The nearest note of the chord that its neighbours do not strike; else it is left out."""
    taken = {n.midi for n in here if n.onset == note.onset}
    onsets = sorted({n.onset for n in here})
    at = onsets.index(note.onset)
    near: set[Fraction] = {*onsets[max(0, at - 1):at], *onsets[at + 1:at + 2]}
    beside = {n.midi for n in here if n.onset in near}
    found = [(abs(m - note.midi), -m, p) for m in range(note.midi - _NEAR, note.midi + _NEAR + 1)
             if m % 12 in chord and m not in taken | beside
             for p in _spelled(m, setting, harp)]
    return Pin((min(found, key=lambda f: (f[0], f[1], f[2]))[2],)) if found else Pin(drop=True)
