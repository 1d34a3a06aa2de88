"""What demands on notes leave of the ways to play them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from arranger.model.pins import Pin
from arranger.model.pitch import Pitch
from arranger.plan.hand_options import Tone
from arranger.plan.pedal_path import Way, Ways
from arranger.plan.universe import LOST, Choice
from arranger.plan.worth import Worth

#: Price of losing a note that is to stay: dearer than any music, and still finite, so that demands
#: that contradict each other leave a plan, from which the contradiction is told.
KEPT = 1 << 20


def pinned_ways(ways: Ways, pin: Pin, pitch: Pitch, value: Worth,
                prices: Mapping[str, int]) -> Ways:
    """Ways of the note ``pitch`` that a pin leaves; what it asks for beyond them is added.

    Another octave costs ``octave``, another note what a stand-in costs, as ever.
    """
    if pin.drop:
        return Ways((), ways.drop, 0)
    if not pin.pitches:
        return replace(ways, drop=KEPT) if pin != Pin() else ways
    known = {w.pitch: w for w in ways.ways}
    own = [p for p in pin.pitches if p.midi == pitch.midi]
    others = [p for p in pin.pitches if p.midi != pitch.midi]
    found = [known.get(p) or Way(p, prices["respell"] * (p != pitch)) for p in own]
    found += [known.get(p) or Way(p, prices["octave"] if p.pitch_class == pitch.pitch_class
                                  else value.other) for p in others]
    return Ways(tuple(found), KEPT, len(own), ways.free and all(p in known for p in pin.pitches))


def pinned_tone(tone: Tone, pin: Pin) -> Tone:
    """The note as the hands see it under a pin."""
    if pin == Pin():
        return tone
    roll, rolled = ((tone.roll, tone.rolled) if pin.rolled is None else (pin.rolled,) * 2)
    return replace(tone, drop=KEPT, fixed=True, roll=roll, rolled=rolled)


def pinned_choices(choices: Sequence[Choice], ways: Sequence[Ways], pins: Sequence[Pin],
                   rolled: Sequence[bool], roll: int) -> Sequence[Choice]:
    """Choices in which every note lies in the hand and under the finger asked.

    Strings that cannot be plucked so are still an option, as dear as losing the note: the pedals
    may have no other, and a demand that cannot be met leaves a plan. ``rolled``: whether the source
    rolls each note; a roll that only a pin asks for costs ``roll``.
    """
    if any(p.hand or p.finger is not None for p in pins):
        fit = [all(_fits(c, ways, pins, i) for i in range(len(pins))) for c in choices]
        met = {c.ways for c, fits in zip(choices, fit, strict=True) if fits}
        choices = [c if fits else replace(c, price=c.price + KEPT)
                   for c, fits in zip(choices, fit, strict=True) if fits or c.ways not in met]
    if any(p.rolled for p in pins):
        choices = [replace(c, price=c.price + roll * sum(
            any(pins[i].rolled for i in held) and not any(rolled[i] for i in held)
            for held in _held(c, ways))) for c in choices]
    return choices


def _held(choice: Choice, ways: Sequence[Ways]) -> list[list[int]]:
    """Notes of the left and of the right hand."""
    found: list[list[int]] = [[], []]
    for i, way in enumerate(choice.ways):
        if way != LOST:
            place = dict(choice.octaves).get(i, ways[i].ways[way].pitch).position
            for hand, grip in enumerate((choice.left, choice.right)):
                if grip is not None and place in grip.strings:
                    found[hand].append(i)
    return found


def _fits(choice: Choice, ways: Sequence[Ways], pins: Sequence[Pin], i: int) -> bool:
    for hand, grip, held in zip("LR", (choice.left, choice.right), _held(choice, ways),
                                strict=True):
        if grip is not None and i in held:
            place = dict(choice.octaves).get(i, ways[i].ways[choice.ways[i]].pitch).position
            return pins[i].allows_hand(hand, grip.fingers[grip.strings.index(place)])
    return True  # it is left out, and what that costs has been said
