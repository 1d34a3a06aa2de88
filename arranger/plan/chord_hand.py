"""The left hand of a lead sheet: chord symbols to strokes, by least movement from grip to grip."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from arranger.model.chord import ChordSymbol
from arranger.model.harp import PEDALS, Harp
from arranger.model.pitch import Pitch
from arranger.model.score import Note, Score
from arranger.plan.chord_grips import Grip, Hand, grips
from arranger.plan.chord_rhythm import Stretch, figure, stretches
from arranger.rulebook.chords import load_chords
from arranger.rulebook.players import Player
from arranger.search.states import cheapest_states

#: Grips of one harmony that are weighed against those before and after (assumption).
_MOST = 24
#: Steps of the bass that cost nothing; each further one, and each step of the other notes, in the
#: prices of the grips (assumptions).
_FREE, _BASS, _OVER = 3, 1, 1

Shape = tuple[Pitch, ...]


@dataclass(frozen=True, slots=True)
class Stroke:
    """Notes struck together at ``onset``, written ``duration`` long, in quarter notes."""

    onset: Fraction
    duration: Fraction
    pitches: tuple[Pitch, ...]


@dataclass(frozen=True, slots=True)
class LeftHand:
    """What the left hand plays, and the printed numbers of bars in which nothing fits."""

    strokes: tuple[Stroke, ...]
    silent: tuple[str, ...] = ()


def left_hand(score: Score, part: str, symbols: Sequence[ChordSymbol], harp: Harp,
              player: Player) -> LeftHand:
    """Return what the left hand plays under the tune ``part`` to these chord symbols.

    Every note lies under the tune that sounds meanwhile; on a harp with levers all are such as
    the levers give that the tune wants. Where nothing fits there is no stroke.
    """
    tune = score.part_notes(part)
    hand = _hand(tune, symbols, harp, player)
    here = stretches(score, symbols)
    found = [grips(stretch, _within(tune, stretch), hand)[:_MOST] for stretch in here]
    offered = [(stretch, some) for stretch, some in zip(here, found, strict=True) if some]
    chosen = cheapest_states([{g.notes: g.price for g in some} for _, some in offered],
                             lambda _, old, new: _way(old, new))
    strokes = tuple(stroke for (stretch, _), notes in zip(offered, chosen, strict=True)
                    for stroke in _strokes(stretch, Grip(notes, 0)))
    return LeftHand(strokes, tuple(stretch.bar.number for stretch, some
                                   in zip(here, found, strict=True) if not some))


def _within(tune: Sequence[Note], stretch: Stretch) -> list[Note]:
    return [n for n in tune if n.onset < stretch.end
            and (n.end > stretch.start or n.onset == stretch.start)]


def _way(old: Shape, new: Shape) -> int:
    """Price of the way from one grip to the next: the bass, and the highest of the others."""
    bass = abs(new[0].position - old[0].position)
    over = abs(new[-1].position - old[-1].position) if len(new) > 1 < len(old) else 0
    return _BASS * max(0, bass - _FREE) + _OVER * over // 2


def _strokes(stretch: Stretch, grip: Grip) -> Iterator[Stroke]:
    """The strokes of a figure; what the grip has not got leaves the one before it longer."""
    beats = [(b, p) for b in figure(stretch) if (p := grip.struck(b.what))]
    for (beat, pitches), after in zip(beats, [*beats[1:], None], strict=True):
        end = after[0].start if after else stretch.end
        yield Stroke(beat.start, end - beat.start, pitches)


def _hand(tune: Sequence[Note], symbols: Sequence[ChordSymbol], harp: Harp,
          player: Player) -> Hand:
    """What this player's left hand may take on this harp."""
    places = load_chords()
    low = max(places.lowest.position, harp.lowest.position, player.left_hand_lowest.position)
    high = min(places.highest.position, harp.highest.position, player.left_hand_highest.position)
    classes = None
    if harp.mechanism == "lever":
        standing = lever_setting(tune, symbols, harp)
        classes = frozenset(Pitch(step, alter, 4).pitch_class for step, alter in standing.items())
    return Hand(low, high, max(low, places.home.position), player.span_steps,
                player.comfortable_span_steps, classes)


def lever_setting(tune: Sequence[Note], symbols: Sequence[ChordSymbol],
                  harp: Harp) -> Mapping[str, int]:
    """Return how the levers of each letter stand: as the tune wants them most of the time.

    Where it lacks the letter it is as the chords want it. Octaves that stand otherwise are not
    reckoned with.
    """
    wants: defaultdict[tuple[str, int], Fraction] = defaultdict(Fraction)
    for note in tune:
        for pitch in harp.spellings(note.midi)[:1] if not harp.gives(note.pitch) else (note.pitch,):
            wants[pitch.step, pitch.alter] += max(note.duration, Fraction(1, 64))
    sung = {step for step, _ in wants}
    for symbol, after in zip(symbols, [*symbols[1:], None], strict=True):
        length = after.onset - symbol.onset if after else Fraction(1)
        for tone in symbol.tones.values():
            if tone.step not in sung:
                wants[tone.step, tone.alter] += length
    return {step: max(_alters(harp, step), key=lambda a, s=step: wants.get((s, a), Fraction(0)))
            for step in PEDALS}


def _alters(harp: Harp, step: str) -> tuple[int, ...]:
    """What a letter can be; first, where nobody wants it, as the harp is tuned."""
    here = harp.tuning.alter(step) if harp.tuning else 0
    return tuple(dict.fromkeys((here, harp.nearest(step, here + 1))))
