"""Fingers as they are read: equal figures alike, groups on beats, graces fingered too.

The last thing that is done to a draft; strings, hands and pedals stand (see ``plan.fingering``).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby

from arranger.model.draft import Draft, HarpNote
from arranger.model.placed_groups import REST
from arranger.model.score import Measure, NoteId, Score
from arranger.passes.settings import Settings
from arranger.plan.fingering import Fingers, Pluck, Stand
from arranger.plan.grips import finger_sets
from arranger.plan.trills import trill_fingers

#: Quarter notes a grace note takes from the time before its note (assumption, as in draft.mid).
_GRACE = Fraction(1, 8)


@dataclass(frozen=True, slots=True)
class _Grip:
    """What one hand plucks at once; ``at``: when, in quarter notes, graces before their note."""

    notes: tuple[HarpNote, ...]
    at: Fraction

    @property
    def strings(self) -> tuple[int, ...]:
        """Positions from the lowest up."""
        return tuple(sorted({n.string.position for n in self.notes}))


def finger_as_read(draft: Draft, settings: Settings) -> Draft:
    """Finger both hands once more; a draft without fingers has none."""
    if all(n.finger is None for n in draft.notes):
        return draft
    most = settings.player.fingers_per_hand
    hands = {hand: [g for g in _grips(draft, hand) if len(g.strings) <= most] for hand in "LR"}
    stand = Stand({hand: _plucks(grips, draft.source, settings)
                   for hand, grips in hands.items()}, settings.player, settings.prices)
    found: dict[NoteId, int] = {}
    for hand, fingers in stand.fingers().items():
        for grip, held in zip(hands[hand], fingers, strict=True):
            of = dict(zip(grip.strings, held, strict=True))
            found |= {n.id: of[n.string.position] for n in grip.notes}
    return replace(draft, notes=tuple(
        replace(n, finger=found.get(n.id, n.finger)) for n in draft.notes))


def _grips(draft: Draft, hand: str) -> list[_Grip]:
    """What a hand plucks, in order of time; graces an eighth of a quarter apart."""
    found: list[_Grip] = []
    mine = sorted((n for n in draft.notes if n.hand == hand),
                  key=lambda n: (n.onset, not n.source.grace, n.source.chord, _written(n)))
    for onset, group in groupby(mine, key=lambda n: n.onset):
        graces: list[HarpNote] = []
        struck: list[HarpNote] = []
        for note in group:
            (graces if note.source.grace else struck).append(note)
        before = _in_turn(graces)
        found += [_Grip(g, onset - _GRACE * (len(before) - rank))
                  for rank, g in enumerate(before)]
        if struck:
            found.append(_Grip(tuple(struck), onset))
    return sorted(found, key=lambda g: g.at)


def _in_turn(graces: Sequence[HarpNote]) -> list[tuple[HarpNote, ...]]:
    """What is struck at once of the graces before a note: of several voices the last with the last.

    So ``io.write_two_voices`` writes those of two players.
    """
    voices: dict[tuple[int, str], list[tuple[HarpNote, ...]]] = defaultdict(list)
    for _, chord in groupby(graces, key=lambda n: n.source.chord):
        struck = tuple(chord)
        voices[struck[0].source.staff, struck[0].source.voice].append(struck)
    most = max(map(len, voices.values()), default=0)
    return [tuple(n for voice in voices.values() if len(voice) >= back for n in voice[-back])
            for back in range(most, 0, -1)]


def _written(note: HarpNote) -> tuple[int, str]:
    """Order of the ids the reader gives, which is that of the file."""
    return len(note.id), note.id


def _plucks(grips: Sequence[_Grip], score: Score, settings: Settings) -> list[Pluck]:
    seconds = [score.tempo.seconds(g.at) for g in grips]
    trilled = trill_fingers([g.strings for g in grips], seconds, settings.player)
    bars = [score.measure_at(g.notes[0].onset) for g in grips]
    figures = _figures(grips, bars)
    plucks = []
    for rank, (grip, bar) in enumerate(zip(grips, bars, strict=True)):
        ends = max((n.source.end for n in grips[rank - 1].notes), default=grip.at)
        plucks.append(Pluck(
            grip.strings, seconds[rank], _off_beat(grip, bar),
            rank > 0 and grip.at - ends >= REST,
            _choice(grip, trilled.get(rank), settings), tuple(figures[rank])))
    return plucks


def _off_beat(grip: _Grip, bar: Measure) -> int:
    """0 on a beat (graces too, whose place says nothing), 1 halfway to the next, 2 elsewhere."""
    if grip.notes[0].source.grace:
        return 0
    beats = (grip.at - bar.onset) / bar.unit
    return {1: 0, 2: 1}.get(beats.denominator, 2)


def _choice(grip: _Grip, trilled: int | None, settings: Settings) -> tuple[Fingers, ...]:
    """Fingers that a grip may have: those asked, those of a trill, or all."""
    sets = finger_sets(len(grip.strings), settings.player.fingers_per_hand)
    asked = {grip.strings.index(n.string.position): finger for n in grip.notes
             if (finger := settings.pins.of(n.id).finger) is not None}
    if not asked and trilled is not None:
        asked = {0: trilled}
    return tuple(f for f in sets if all(f[at] == want for at, want in asked.items())) or sets


def _figures(grips: Sequence[_Grip],
             bars: Sequence[Measure]) -> Mapping[int, list[tuple[Hashable, int, int]]]:
    """Figures of every grip: its bar, and its beat with the grip after it.

    Their names tell places in time and strings above the first; a figure has two grips at least.
    """
    found: dict[int, list[tuple[Hashable, int, int]]] = defaultdict(list)
    ranks: dict[tuple[object, ...], list[int]] = defaultdict(list)
    for rank, (grip, bar) in enumerate(zip(grips, bars, strict=True)):
        onset = grip.notes[0].onset
        ranks["bar", bar.index].append(rank)
        ranks["beat", bar.index, (onset - bar.onset) // bar.unit].append(rank)
    for number, (kind, row) in enumerate(ranks.items()):
        if len(row) < 2:
            continue
        beyond = [row[-1] + 1] if kind[0] == "beat" and row[-1] + 1 < len(grips) else []
        first, start = grips[row[0]].strings[0], bars[row[0]].onset
        if kind[0] == "beat":
            start = grips[row[0]].at
        name = (kind[0], len(row), tuple(
            (grips[at].at - start, tuple(s - first for s in grips[at].strings))
            for at in [*row, *beyond]))
        for place, at in enumerate(row):
            found[at].append((name, number, place))
    return found
