"""In which key a piece costs a lever harp nothing: each transposition within a fourth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from arranger.io.transpose import interval
from arranger.model.draft import HarpNote
from arranger.model.harp import Harp
from arranger.model.score import Score
from arranger.plan.lever_path import lever_path, lever_ways
from arranger.plan.pedal_path import Ways
from arranger.plan.roles import roles
from arranger.plan.slices import slices
from arranger.rulebook.players import Player

#: Semitones down and up that are looked at: a fourth.
WITHIN = 5


@dataclass(frozen=True, slots=True)
class KeyAdvice:
    """What one transposition costs.

    ``moves`` of levers (or pedals) within the piece; ``lost``: notes left out or given another
    note of the harmony, of which ``outer`` belong to tune or bass; ``outside``: notes beyond the
    compass, moved by octaves. ``worth`` is the price of both, 0 where it is not known.
    """

    semitones: int
    fifths: int
    moves: int
    lost: int
    outside: int
    outer: int = 0
    worth: int = 0

    @property
    def free(self) -> bool:
        """Whether every note can be had as the harp is set before the piece."""
        return not (self.moves or self.lost or self.outside)

    @property
    def rank(self) -> tuple[int, int, int, int, int, int]:
        """Best first: what is lost worth least, fewest notes, fewest moves, nearest, lower."""
        return (self.worth, self.lost + self.outside, self.outside, self.moves,
                abs(self.semitones), self.semitones)


def free_keys(notes: Sequence[HarpNote], score: Score, harp: Harp, player: Player,
              prices: Mapping[str, int]) -> tuple[KeyAdvice, ...]:
    """Transpositions within a fourth that cost nothing, nearest first (see ``KeyAdvice``)."""
    found = [_free(notes, score, semitones, harp, player, prices)
             for semitones in range(-WITHIN, WITHIN + 1)]
    return tuple(sorted((a for a in found if a is not None), key=lambda a: a.rank))


def key_advice(notes: Sequence[HarpNote], score: Score, harp: Harp, player: Player,
               prices: Mapping[str, int],
               ties: Sequence[Sequence[Fraction]] = ()) -> tuple[KeyAdvice, ...]:
    """All transpositions within a fourth, best first, each planned to the end.

    Parameters
    ----------
    notes : the part as written, hands given: levers move where the left hand is free.
    ties : groups of barlines at which all levers stand alike.
    """
    free = {a.semitones: a for a in free_keys(notes, score, harp, player, prices)}
    found = [free.get(n) or _planned(notes, score, n, harp, player, prices, ties)
             for n in range(-WITHIN, WITHIN + 1)]
    return tuple(sorted(found, key=lambda a: a.rank))


def moved(notes: Sequence[HarpNote], score: Score,
          semitones: int) -> tuple[list[HarpNote], int]:
    """Return the notes as ``io.transpose`` would write them, and the new key signature."""
    fifths = sorted({m.fifths for m in score.measures})
    by = interval(semitones, fifths)
    return ([replace(n, pitch=by.sounding(n.pitch.step, n.pitch.alter, n.pitch.octave))
             for n in notes], by.key(score.measures[0].fifths))


def _free(notes: Sequence[HarpNote], score: Score, semitones: int, harp: Harp, player: Player,
          prices: Mapping[str, int]) -> KeyAdvice | None:
    there, fifths = moved(notes, score, semitones)
    alters: dict[int, int] = {}
    for note in there:  # a quick look first, at pitches that one string only can give
        found = harp.spellings(note.pitch.midi)
        if not found or (len(found) == 1 and alters.setdefault(
                found[0].position, found[0].alter) != found[0].alter):
            return None
    parts, part_roles = slices(there, score.tempo), roles(there)
    strict = [[Ways(w.ways[:w.spelled], w.drop, w.spelled) for w in row]
              for row in lever_ways(parts, part_roles, harp, prices)]
    path = lever_path(parts, strict, score, harp, player, prices, moving=False)
    lost = sum(way is None for row in path.taken for way in row)
    return None if lost else KeyAdvice(semitones, fifths, 0, 0, 0)


def _planned(notes: Sequence[HarpNote], score: Score, semitones: int, harp: Harp, player: Player,
             prices: Mapping[str, int], ties: Sequence[Sequence[Fraction]]) -> KeyAdvice:
    there, fifths = moved(notes, score, semitones)
    inside = [n for n in there if harp.spellings(n.pitch.midi)]
    parts, part_roles = slices(inside, score.tempo), roles(inside)
    ways = lever_ways(parts, part_roles, harp, prices)
    path = lever_path(parts, ways, score, harp, player, prices, ties)
    lost = [(part_roles[n.id], all_ways.drop if way is None else way.price)
            for here, row, offered in zip(parts, path.taken, ways, strict=True)
            for n, way, all_ways in zip(here.notes, row, offered, strict=True)
            if way is None or way.pitch.midi != n.pitch.midi]
    outside = len(there) - len(inside)
    return KeyAdvice(semitones, fifths, len(path.moves), len(lost), outside,
                     sum(bool(role.tune or role.bass) for role, _ in lost),
                     sum(price for _, price in lost) + outside * prices["octave"])
