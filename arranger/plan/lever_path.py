"""Which string each note takes on a lever harp, where its lever stands, or what else becomes of it.

What the search sees of a note is the set of its ways: one string at one of its two pitches for a
price, or nothing for the price of leaving it out. Levers are set freely before the piece; within it
the left hand moves one at a time where it is free (``plan.lever_time``), and damps the string with
the same touch. See ``search.levers`` for the model that is solved exactly.

Stand-ins are taken from pitches the piece asks for anyway, so no lever is moved for one that the
music does not name.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import permutations

from arranger.model.draft import HarpNote
from arranger.model.harp import PEDALS, Harp, HarpString
from arranger.model.levers import LeverMove
from arranger.model.pitch import Pitch
from arranger.model.score import NoteId, Score
from arranger.plan.lever_time import TICKS, LeftHand, Moment, Plucks, chances, free_moments
from arranger.plan.pedal_path import Way, Ways
from arranger.plan.roles import Role
from arranger.plan.settings import key_setting
from arranger.plan.slices import Slice, clock
from arranger.plan.stand_ins import stand_ins
from arranger.plan.worth import worth
from arranger.rulebook.players import Player
from arranger.search.levers import Chance, Demand, Link, Solution, cheapest_flips


@dataclass(frozen=True, slots=True)
class LeverPath:
    """The taken way per slice and note (None: left out), levers, moves, the price.

    ``opening`` holds the strings the piece uses; ``notes_price`` is the part of ``total`` paid for
    notes respelled, changed or left out.
    """

    taken: tuple[tuple[Way | None, ...], ...]
    opening: Mapping[HarpString, int]
    moves: tuple[LeverMove, ...]
    total: int
    notes_price: int


def written_ways(parts: Sequence[Slice], roles: Mapping[NoteId, Role],
                 prices: Mapping[str, int]) -> list[list[Ways]]:
    """One way of each note, the string it is on: for moving levers under a draft that stands."""
    return [[Ways((Way(n.pitch, 0),), worth(n, roles[n.id], prices).drop) for n in s.notes]
            for s in parts]


def lever_ways(parts: Sequence[Slice], roles: Mapping[NoteId, Role], harp: Harp,
               prices: Mapping[str, int]) -> list[list[Ways]]:
    """All ways of every note: its own strings, then stand-ins."""
    own = [[_spelled(n.pitch, harp) for n in s.notes] for s in parts]
    asked = {p for row in own for pitches in row for p in pitches}
    return [[_ways(n, s, roles[n.id], pitches, asked, harp, prices)
             for n, pitches in zip(s.notes, row, strict=True)]
            for s, row in zip(parts, own, strict=True)]


def _spelled(pitch: Pitch, harp: Harp) -> list[Pitch]:
    return sorted(harp.spellings(pitch.midi), key=lambda p: (p != pitch, abs(p.alter), p))


def _ways(note: HarpNote, here: Slice, role: Role, pitches: Sequence[Pitch], asked: set[Pitch],
          harp: Harp, prices: Mapping[str, int]) -> Ways:
    value = worth(note, role, prices)
    ways = [Way(p, 0 if i == 0 else prices["respell"]) for i, p in enumerate(pitches)]
    if not note.source.grace:
        ways += [Way(p, value.other) for midi in stand_ins(note, here, role)
                 for p in harp.spellings(midi) if p in asked]
    return Ways(tuple(ways), value.drop, len(pitches))


def lever_path(parts: Sequence[Slice], ways: Sequence[Sequence[Ways]], score: Score, harp: Harp,
               player: Player, prices: Mapping[str, int],
               ties: Sequence[Sequence[Fraction]] = (), moving: bool = True) -> LeverPath:
    """Solve a piece exactly.

    Parameters
    ----------
    parts : slices in order, their notes with the hand that plucks them.
    ways : the ways of each note of each slice.
    ties : groups of barlines (quarter notes) at which all levers stand alike.
    moving : False: no lever is moved within the piece.
    """
    demands = [_demand(s, note_ways, harp) for s, row in zip(parts, ways, strict=True)
               for note_ways in row]
    moments: tuple[Moment, ...] = ()
    found: list[Chance] = []
    strings = _contended(ways) if moving and _clash(demands) else frozenset()
    if strings:
        left = _left_hand(parts)
        barlines = [onset for group in ties for onset in group]
        moments = free_moments(score, [s.onset for s in parts], left, barlines, player)
        plucks = _plucks(parts, ways, score, strings)
        found = chances(moments, plucks, left, harp, player, prices)
    links = _octaves(parts, ways, 2 * prices["respell"])
    solution = cheapest_flips(demands, found, _ticks(ties, score), links)
    return _path(ways, demands, solution, [m.onset for m in moments],
                 [m.seconds for m in moments], harp)


def _demand(here: Slice, ways: Ways, harp: Harp) -> Demand:
    time = round(here.seconds * TICKS)
    return Demand(time, tuple((w.pitch.position, _place(w.pitch, harp), w.price)
                              for w in ways.ways), ways.drop)


def _octaves(parts: Sequence[Slice], ways: Sequence[Sequence[Ways]], price: int) -> list[Link]:
    """Links between the two letters of an octave struck at once: it is read as one letter.

    Both notes of an octave on E flat and D sharp are misread, like notes on another letter than the
    source's (assumption).
    """
    found: list[Link] = []
    first = 0  # demand of the slice's first note
    for here, row in zip(parts, ways, strict=True):
        for i, j in permutations(range(len(row)), 2):
            if here.notes[j].pitch.midi - here.notes[i].pitch.midi != 12 or \
                    here.notes[i].source.grace or here.notes[j].source.grace:
                continue
            found += [Link(first + i, low, first + j, high, price)
                      for low, one in enumerate(row[i].ways[:row[i].spelled])
                      for high, other in enumerate(row[j].ways[:row[j].spelled])
                      if one.pitch.step != other.pitch.step
                      and row[i].spelled + row[j].spelled > 2]
        first += len(row)
    return found


def _place(pitch: Pitch, harp: Harp) -> int:
    """0 for the open string, 1 for the raised one."""
    return pitch.alter - harp.alters(HarpString.of(pitch))[0]


def _clash(demands: Iterable[Demand]) -> bool:
    """Tell whether the best ways of two demands want one string at both pitches."""
    wanted: dict[int, int] = {}
    for demand in demands:
        if demand.ways:
            switch, position, _ = min(demand.ways, key=lambda w: w[2])
            if wanted.setdefault(switch, position) != position:
                return True
    return False


def _contended(ways: Sequence[Sequence[Ways]]) -> frozenset[HarpString]:
    asked: dict[HarpString, set[int]] = {}
    for row in ways:
        for note_ways in row:
            for way in note_ways.ways:
                asked.setdefault(HarpString.of(way.pitch), set()).add(way.pitch.alter)
    return frozenset(s for s, alters in asked.items() if len(alters) > 1)


def _left_hand(parts: Sequence[Slice]) -> LeftHand:
    mine = [(s.seconds, max(n.pitch.position for n in s.notes if n.hand == "L"))
            for s in parts if any(n.hand == "L" for n in s.notes)]
    return LeftHand(tuple(t for t, _ in mine), tuple(p for _, p in mine))


def _plucks(parts: Sequence[Slice], ways: Sequence[Sequence[Ways]], score: Score,
            strings: frozenset[HarpString]) -> dict[HarpString, Plucks]:
    """When the notes' own strings may be plucked (stand-ins are not counted)."""
    found: dict[HarpString, dict[float, tuple[float, int]]] = {s: {} for s in sorted(strings)}
    for here, row in zip(parts, ways, strict=True):
        ends = clock(score.tempo, [n.source.end for n in here.notes])
        for note_ways, end in zip(row, ends, strict=True):
            for way in note_ways.ways[:note_ways.spelled]:
                string = HarpString.of(way.pitch)
                if string in found:
                    until = max(end, found[string].get(here.seconds, (0.0, 0))[0])
                    found[string][here.seconds] = until, way.pitch.midi
    return {s: Plucks(tuple(times), tuple(u for u, _ in times.values()),
                      max((m for _, m in times.values()), default=60))
            for s, times in found.items()}


def _ticks(ties: Sequence[Sequence[Fraction]], score: Score) -> list[list[int]]:
    return [[round(t * TICKS) for t in clock(score.tempo, group)] for group in ties]


def _path(ways: Sequence[Sequence[Ways]], demands: Sequence[Demand], solution: Solution,
          onsets: Sequence[Fraction], seconds: Sequence[float], harp: Harp) -> LeverPath:
    def alter(position: int, place: int) -> int:
        return harp.alters(HarpString(position))[0] + place

    flat = iter(zip(demands, solution.taken, strict=True))
    taken, paid = [], 0
    for row in ways:
        chosen: list[Way | None] = []
        for note_ways in row:
            demand, way = next(flat)
            chosen.append(None if way is None else note_ways.ways[way])
            paid += demand.drop if way is None else demand.ways[way][2]
        taken.append(tuple(chosen))
    moves = tuple(LeverMove(onsets[f.chance], seconds[f.chance], HarpString(f.switch),
                            alter(f.switch, 1 - f.position), alter(f.switch, f.position))
                  for f in solution.flips)
    opening = {HarpString(s): alter(s, p) for s, p in sorted(solution.opening.items())}
    return LeverPath(tuple(taken), opening, moves, solution.total, paid)


def whole_opening(used: Mapping[HarpString, int], harp: Harp,
                  fifths: int) -> dict[HarpString, int]:
    """Setting of every string: where a string is not used, like most of its letter, or the key."""
    letters: dict[str, Counter[int]] = {}
    for string, alter in used.items():
        letters.setdefault(string.step, Counter())[alter] += 1
    key = key_setting(written_key(fifths, harp))
    found = {}
    for string in harp.strings:
        wanted = [a for a, _ in letters.get(string.step, Counter()).most_common()]
        can = harp.alters(string)
        found[string] = used.get(string, next(
            (a for a in (*wanted, key.alter(string.step)) if a in can), can[0]))
    return found


def written_key(fifths: int, harp: Harp) -> int:
    """Key signature in which a part for this harp is written, sharps positive.

    Where the levers cannot be set to the scale it is that of the open strings: what then stands
    before a note says how its lever differs (stephwest.co.uk: extreme keys in E flat with added
    sharps and naturals only).
    """
    open_now = harp.tuning
    if harp.mechanism != "lever" or open_now is None or harp.plain.issuperset(harp.strings):
        return fifths
    home = [key for key in range(-7, 8) if key_setting(key) == open_now]
    scale = key_setting(fifths)
    settable = all(0 <= scale.alter(step) - open_now.alter(step) <= 1 for step in PEDALS)
    return fifths if settable or not home else home[0]
