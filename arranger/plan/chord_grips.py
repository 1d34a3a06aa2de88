"""Grips of the left hand for a chord: up to three notes below the tune, and what each is worth.

All prices are assumptions, in string steps of the bass: what it is worth to have a note of the
chord rather than to save the hand so much of a way.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from arranger.model.chord import Tone
from arranger.model.harp import spellings
from arranger.model.pitch import Pitch
from arranger.model.score import Note
from arranger.plan.chord_levers import Standing
from arranger.plan.chord_rhythm import Beat, Stretch, What, figure, most_notes
from arranger.rulebook.rules import rule

#: A third that nobody sounds; one more than is needed; a seventh or sixth; a fifth that is not
#: perfect, a perfect one, and that of a chord with a seventh; the root over another bass.
_THIRD, _SPARE, _SEVENTH, _ALTERED, _FIFTH, _LEAST, _ROOT = 8, 2, 7, 5, 3, 1, 5
#: Each note fewer than three; the bass too far from home, each step beyond so many; a note beside
#: the tune's string; a hand wider than with comfort, each step.
_FEWER, _AWAY, _NEAR_HOME, _BESIDE, _WIDE = 5, 3, 3, 6, 1
#: A close third whose lower note lies under this one; two notes an octave apart and no more.
_CLOSE, _CLOSE_UNDER, _BARE = 6, Pitch("F", 0, 3), 3
#: On pedals, a note whose letter the tune sounds otherwise in the same stretch, each.
_OTHERWISE = 6
#: A bass that is not the one named, where that cannot be had.
_OTHER_BASS = 20
#: Degrees by what they are in a chord, the first that there is.
_THIRDS, _SEVENTHS = (3, 4, 2), (7, 6)


@dataclass(frozen=True, slots=True)
class Hand:
    """What the left hand may take: lowest and highest string, and its span.

    ``home``: where its lowest string is by choice; ``comfortable``: steps that it spans with ease;
    ``levers``: how they stand, None where everything can be had. ``pedals``: one a letter.
    """

    lowest: int
    highest: int
    home: int
    span: int
    comfortable: int
    levers: Standing | None = None
    pedals: bool = True

    def places(self, tones: Sequence[Tone], stretch: Stretch) -> list[Pitch]:
        """Return every place at which one of these tones can be had in a stretch."""
        plain = [_plain(t.at(octave)) for t in dict.fromkeys(tones) for octave in range(9)]
        had = plain if self.levers is None else [
            p for pitch in plain
            if (p := self.levers.spelled(pitch, stretch.start, stretch.end)) is not None]
        return [p for p in had if self.lowest <= p.position <= self.highest]


@dataclass(frozen=True, slots=True)
class Grip:
    """Notes from the bass up, and the price of playing these."""

    notes: tuple[Pitch, ...]
    price: int

    def struck(self, what: What) -> tuple[Pitch, ...]:
        """Return the notes of one stroke."""
        match what:
            case "bass":
                return self.notes[:1]
            case "upper":
                return self.notes[1:]
            case "middle":
                return self.notes[1:-1]
            case "top":
                return self.notes[1:][-1:]
        return self.notes


def grips(stretch: Stretch, tune: Sequence[Note], hand: Hand) -> list[Grip]:
    """Return the grips for a stretch, the best first; none where nothing fits under the tune.

    ``tune``: the notes that sound in the stretch.
    """
    beats = figure(stretch)
    ceilings = [min((n.pitch.position for n in _sounding(tune, b)), default=hand.highest + 2)
                for b in beats]
    floors = [min((n.midi for n in _sounding(tune, b)), default=128) for b in beats]
    found = []
    for notes in _shapes(stretch, hand):
        grip = Grip(notes, 0)
        struck = [grip.struck(b.what) for b in beats]
        if all(p.position < ceiling and p.midi < floor for row, ceiling, floor in
               zip(struck, ceilings, floors, strict=True) for p in row):
            beside = sum(p.position == ceiling - 1 for row, ceiling in
                         zip(struck, ceilings, strict=True) for p in row)
            found.append(Grip(notes, _price(stretch, notes, tune, hand) + _BESIDE * beside))
    return sorted(found, key=lambda g: (g.price, g.notes))


def _sounding(tune: Sequence[Note], beat: Beat) -> list[Note]:
    return [n for n in tune if n.onset < beat.end and max(n.end, n.onset + Fraction(1, 64))
            > beat.start]


def _shapes(stretch: Stretch, hand: Hand) -> Iterator[tuple[Pitch, ...]]:
    """All shapes of one to three notes over a bass that the hand can take."""
    chord = sorted(hand.places([t for d, t in stretch.symbol.tones.items() if d < 9], stretch),
                   key=lambda p: p.midi)
    three = most_notes(stretch) > 2
    for bass in _basses(stretch, hand):
        over = [p for p in chord if p.midi > bass.midi
                and 0 < p.position - bass.position <= hand.span]
        yield (bass,)
        for at, top in enumerate(over):
            if _open(bass, top):
                yield bass, top
            for middle in over[:at] if three else ():
                if _open(bass, middle) and _open(middle, top):
                    yield bass, middle, top


def _basses(stretch: Stretch, hand: Hand) -> list[Pitch]:
    """The bass that is named; where it cannot be had, root, third and fifth."""
    named, tones = stretch.symbol.bass, stretch.symbol.tones
    had = hand.places([named], stretch) if named is not None else []
    return had or hand.places([tones[d] for d in (1, *_THIRDS, 5) if d in tones], stretch)


def _plain(pitch: Pitch) -> Pitch:
    """Return a pitch without a double sharp or flat, on another string where it has one."""
    return pitch if abs(pitch.alter) < 2 else min(spellings(pitch.midi),
                                                  key=lambda p: abs(p.alter))


def _open(low: Pitch, high: Pitch) -> bool:
    """Tell whether two neighbours of a chord are far enough apart for where they lie."""
    if high.midi - low.midi < 3:
        return False
    thick = rule("R3")
    deep = low.position < Pitch.parse(str(thick.limits["below"].value)).position
    return not deep or high.position - low.position > thick.number("close_steps")


def _price(stretch: Stretch, notes: tuple[Pitch, ...], tune: Sequence[Note], hand: Hand) -> int:
    """What a shape lacks of the chord, what it has to spare, and how it lies for the hand."""
    tones = stretch.symbol.tones
    here = {p.pitch_class for p in notes}
    sung = _sung(stretch, tune)

    def lacking(degrees: Sequence[int], lack: int, spare: int = 0) -> int:
        tone = next((tones[d] for d in degrees if d in tones), None)
        if tone is None or not hand.places([tone], stretch):
            return 0
        found, heard = tone.pitch_class in here, tone.pitch_class in sung
        return spare if found and heard else lack if not found and not heard else 0
    fifth = tones.get(5)
    perfect = fifth is not None and (fifth.pitch_class - tones[1].pitch_class) % 12 == 7
    price = lacking(_THIRDS, _THIRD, _SPARE) + lacking(_SEVENTHS, _SEVENTH)
    plain = _LEAST if tones.keys() & set(_SEVENTHS) else _FIFTH
    price += lacking((5,), plain if perfect else _ALTERED) + lacking((1,), _ROOT)
    price += _FEWER * (most_notes(stretch) - len(notes))
    price += _AWAY * max(0, abs(notes[0].position - hand.home) - _NEAR_HOME)
    price += _WIDE * max(0, notes[-1].position - notes[0].position - hand.comfortable)
    if hand.pedals:
        letters = {(n.pitch.step, n.pitch.alter) for n in tune}
        price += _OTHERWISE * sum(any(p.step == step and p.alter != alter
                                      for step, alter in letters) for p in notes)
    price += _BARE * (len(notes) == 2 and len(here) == 1)
    price += _CLOSE * any(low.position < _CLOSE_UNDER.position and high.position - low.position < 3
                          for low, high in pairwise(notes))
    named = stretch.symbol.bass
    if named is not None and notes[0].pitch_class != named.pitch_class:
        price += _OTHER_BASS
    return price


def _sung(stretch: Stretch, tune: Sequence[Note]) -> set[int]:
    """Pitch classes that the tune sounds in a stretch for a third of it or more."""
    shares: dict[int, Fraction] = {}
    for note in tune:
        inside = min(note.end, stretch.end) - max(note.onset, stretch.start)
        shares[note.pitch.pitch_class] = shares.get(note.pitch.pitch_class, Fraction(0)) + max(
            inside, Fraction(0))
    return {c for c, share in shares.items() if 3 * share >= stretch.end - stretch.start}
