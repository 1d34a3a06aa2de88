"""Chord symbols on a harp with levers: what is set for the tune, and time to move its levers."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from arranger.model.chord import ChordSymbol
from arranger.model.harp import PEDALS, Harp, HarpString
from arranger.model.levers import LeverMove, LeverPlan
from arranger.model.pitch import Pitch
from arranger.model.score import Note, TempoMap
from arranger.rulebook.players import Player

#: What it costs to leave out a stroke at a barline, and another one (assumptions).
_DOWNBEAT, _OTHER = 4, 1
_EPS = 1e-4


@dataclass(frozen=True, slots=True)
class Standing:
    """How strings stand under a tune: those it plucks by its own plan, others by their letter.

    ``strings``: those the tune plucks; ``letters``: how the levers of a letter stand else.
    """

    harp: Harp
    plan: LeverPlan
    strings: frozenset[HarpString]
    letters: Mapping[str, int]

    def spelled(self, pitch: Pitch, start: Fraction, end: Fraction) -> Pitch | None:
        """Return the string that gives this sound all the time, as it stands; None without."""
        return next((p for p in self.harp.spellings(pitch.midi) if self._stands(p, start, end)),
                    None)

    def _stands(self, pitch: Pitch, start: Fraction, end: Fraction) -> bool:
        string = HarpString.of(pitch)
        if string not in self.strings:
            return pitch.alter == (self.letters[pitch.step] if len(self.harp.alters(string)) > 1
                                   else self.harp.alters(string)[0])
        alters = {self.plan.at(start).get(string)}
        alters |= {m.after for m in self.plan.moves if m.string == string and start < m.onset < end}
        return alters == {pitch.alter}


def standing(tune: Sequence[Note], strings: Collection[HarpString], plan: LeverPlan,
             symbols: Sequence[ChordSymbol], harp: Harp) -> Standing:
    """Return how the strings stand: a letter as the tune wants it most of the time.

    Where the tune lacks the letter it is as the chords want it, and as the harp is tuned where
    nobody does.
    """
    wants: defaultdict[tuple[str, int], Fraction] = defaultdict(Fraction)
    for note in tune:
        for pitch in [note.pitch] if harp.gives(note.pitch) else harp.spellings(note.midi)[:1]:
            wants[pitch.step, pitch.alter] += max(note.duration, Fraction(1, 64))
    sung = {step for step, _ in wants}
    for symbol, after in zip(symbols, [*symbols[1:], None], strict=True):
        length = after.onset - symbol.onset if after else Fraction(1)
        for tone in symbol.tones.values():
            if tone.step not in sung:
                wants[tone.step, tone.alter] += length
    letters = {}
    for step in PEDALS:
        here = harp.tuning.alter(step) if harp.tuning else 0
        there = harp.nearest(step, here + 1)
        letters[step] = there if wants[step, there] > wants[step, here] else here
    return Standing(harp, plan, frozenset(strings), letters)


def room(moves: Sequence[LeverMove], plucked: Mapping[HarpString, Sequence[Fraction]],
         onsets: Sequence[Fraction], downbeats: Collection[Fraction], tempo: TempoMap,
         player: Player) -> frozenset[Fraction]:
    """Return the strokes to leave out so that the left hand has time for every lever.

    Parameters
    ----------
    moves : what the tune alone asks for, in order of time.
    plucked : when the tune plucks each string, in order, in quarter notes.
    onsets : of the strokes of the left hand, in order; ``downbeats`` are the barlines.

    A move begins at a stroke or when its string was last plucked, and the hand is back by the
    placing lead before the next stroke. Of all moments the one that costs least is left free.
    """
    gone: set[Fraction] = set()
    need = player.lever_move_seconds + player.placing_lead_seconds
    free_from = -1.0
    for move in moves:
        before = [o for o in plucked.get(move.string, ()) if o < move.onset]
        after = [o for o in plucked.get(move.string, ()) if o >= move.onset]
        first = before[-1] if before else Fraction(0)
        until = tempo.seconds(after[0]) if after else float("inf")
        ways: list[tuple[int, float, frozenset[Fraction]]] = []
        for at in {first, move.onset, *(o for o in onsets if o >= first)}:
            begin = tempo.seconds(at)
            if begin + player.lever_move_seconds > until + _EPS or begin < free_from - _EPS:
                continue
            lost = frozenset(o for o in onsets if o > at and o not in gone
                             and tempo.seconds(o) < begin + need - _EPS)
            price = sum(_DOWNBEAT if o in downbeats else _OTHER for o in lost)
            ways.append((price, -begin, lost))
        if ways:
            _, begun, lost = min(ways, key=lambda way: way[:2])
            gone |= lost
            free_from = -begun + player.lever_move_seconds
    return frozenset(gone)
