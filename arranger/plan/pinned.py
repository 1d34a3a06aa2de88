"""What demands on notes leave of the ways to play them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from arranger.model.pins import Pin
from arranger.model.pitch import Pitch
from arranger.plan.hand_options import Option, Tone
from arranger.plan.pedal_path import Way, Ways
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


def pinned_options(options: Sequence[Option], pins: Sequence[Pin], rolled: Sequence[bool],
                   roll: int) -> Sequence[Option]:
    """Options in which every note lies in the hand asked for; all, where none has them so.

    ``rolled``: whether the source rolls each note; a roll that only a pin asks for costs ``roll``.
    """
    if any(p.hand for p in pins):
        options = [o for o in options if all(
            pins[i].allows_hand(which) for which, hand in (("L", o.left), ("R", o.right))
            for i, _ in hand.tones)] or options
    if any(p.rolled for p in pins):
        options = [replace(o, price=o.price + roll * sum(
            any(pins[i].rolled for i, _ in hand.tones)
            and not any(rolled[i] for i, _ in hand.tones)
            for hand in (o.left, o.right))) for o in options]
    return options
