"""The left hand of a lead sheet: chord symbols to strokes, by least movement from grip to grip."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from arranger.model.chord import ChordSymbol
from arranger.model.draft import Draft
from arranger.model.harp import Harp, HarpString
from arranger.model.pitch import Pitch
from arranger.model.score import Note, Score
from arranger.plan.chord_grips import Grip, Hand, grips
from arranger.plan.chord_levers import Standing, room, standing
from arranger.plan.chord_rhythm import Beat, Stretch, figure, stretches
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
              player: Player, alone: Draft | None = None) -> LeftHand:
    """Return what the left hand plays under the tune ``part`` to these chord symbols.

    Every note lies under the tune that sounds meanwhile. ``alone``: on a harp with levers the draft
    of the tune alone; the chords then use what is set for it, and leave time for its levers.
    """
    tune = score.part_notes(part)
    levers = alone.levers if alone is not None else None
    plucked: dict[HarpString, list[Fraction]] = {}
    for note in alone.notes if alone is not None else ():
        plucked.setdefault(note.string, []).append(note.onset)
    hand = _hand(harp, player, None if levers is None else
                 standing(tune, plucked, levers, symbols, harp))
    here = stretches(score, symbols)
    found = [grips(stretch, _within(tune, stretch), hand)[:_MOST] for stretch in here]
    offered = [(stretch, some) for stretch, some in zip(here, found, strict=True) if some]
    chosen = cheapest_states([{g.notes: g.price for g in some} for _, some in offered],
                             lambda _, old, new: _way(old, new))
    played = [(stretch, Grip(notes, 0)) for (stretch, _), notes in zip(offered, chosen,
                                                                       strict=True)]
    gone: frozenset[Fraction] = frozenset()
    if levers is not None:
        onsets = [beat.start for stretch, grip in played for beat in _struck(stretch, grip)]
        gone = room(levers.moves, plucked, onsets, {m.onset for m in score.measures}, score.tempo,
                    player)
    strokes = tuple(s for stretch, grip in played for s in _strokes(stretch, grip, gone))
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


def _struck(stretch: Stretch, grip: Grip) -> list[Beat]:
    return [beat for beat in figure(stretch) if grip.struck(beat.what)]


def _strokes(stretch: Stretch, grip: Grip, gone: Collection[Fraction]) -> Iterator[Stroke]:
    """The strokes of a figure; what is not struck leaves the one before it longer."""
    beats = [beat for beat in _struck(stretch, grip) if beat.start not in gone]
    for beat, after in zip(beats, [*beats[1:], None], strict=True):
        end = after.start if after else stretch.end
        yield Stroke(beat.start, end - beat.start, grip.struck(beat.what))


def _hand(harp: Harp, player: Player, levers: Standing | None) -> Hand:
    """What this player's left hand may take on this harp."""
    places = load_chords()
    low = max(places.lowest.position, harp.lowest.position, player.left_hand_lowest.position)
    high = min(places.highest.position, harp.highest.position, player.left_hand_highest.position)
    return Hand(low, high, max(low, places.home.position), player.span_steps,
                player.comfortable_span_steps, levers, harp.mechanism == "pedal")
