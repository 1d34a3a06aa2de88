"""Of a part examined: which notes of a bar exclude one another, and how fast each bar can go."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from arranger.checks.case import Case
from arranger.checks.conflicts import Conflict, conflicts
from arranger.model.pitch import Pitch
from arranger.model.score import Note, NoteId, bar_name
from arranger.passes.inspect import Inspection
from arranger.plan.ceiling import (
    Ceiling,
    Demands,
    bar_ceilings,
    ceiling,
    demands,
    limiting_passage,
    sentence,
)
from arranger.plan.lever_hand import lever_work
from arranger.report.wording import beat_words


@dataclass(frozen=True, slots=True)
class BarConflicts:
    """Sets of notes of a bar (index) of each of which one has to go; ``complete``: all of them."""

    bar: int
    sets: tuple[Conflict, ...]
    complete: bool


@dataclass(frozen=True, slots=True)
class TempoLimits:
    """How fast a part can go: sentences about the slowest passages, and bars with a limit."""

    told: tuple[str, ...]
    bars: tuple[Ceiling, ...]


def conflicting(case: Case, found: Inspection) -> tuple[BarConflicts, ...]:
    """Return the smallest conflicting sets of every bar with a finding of error.

    A set belongs to the bar of its last note, and holds a note of such a finding. Where the tempo
    is assumed only what is struck at one moment is told.
    """
    wrong = {i for d in found.findings if d.severity == "error" for i in d.notes}
    bars = {n.measure for n in case.notes if n.id in wrong}
    made = []
    for bar in sorted(bars):
        asked = conflicts(case, bar)
        sets = tuple(c for c in asked.sets if max(n.measure for n in c.notes) == bar
                     and any(n.id in wrong for n in c.notes)
                     and (case.known_tempo(c.notes[0].onset)
                          or len({n.onset for n in c.notes}) == 1))
        if sets:
            made.append(BarConflicts(bar, sets, asked.complete))
    return tuple(made)


def tempo_limits(case: Case, found: Inspection) -> TempoLimits:
    """Return how fast the part can go, spelled as the planner would have it; first as spelled."""
    pitches = found.respelling.pitches
    asked = _asked(case, pitches)
    bars = tuple(c for c in bar_ceilings(case.score, asked) if c.crotchet is not None)
    slow = list(_slow(case, asked, bars))
    told = [sentence(c, case.score) for c in slow]
    spelled = _as_spelled(case) if pitches else None
    if spelled is not None and spelled.ratio < min(c.ratio for c in slow):
        told = [f"as spelled, {sentence(spelled, case.score)}",
                *(f"spelled otherwise, {each}" for each in told)]
    return TempoLimits(tuple(dict.fromkeys(told)), bars)


def _as_spelled(case: Case) -> Ceiling:
    """The slowest passage of the part as it stands, but for bars that go at no tempo."""
    asked = _asked(case, {})
    return limiting_passage(case.score, asked.without(
        {c.first for c in bar_ceilings(case.score, asked) if c.ratio == 0}))


def _asked(case: Case, pitches: Mapping[NoteId, Pitch]) -> Demands:
    """What the part asks for with some notes spelled otherwise."""
    def spelled(notes: Iterable[Note]) -> tuple[Note, ...]:
        return tuple(replace(n, pitch=pitches.get(n.id, n.pitch)) for n in notes)
    attacks = tuple(replace(a, notes=spelled(a.notes)) for a in case.attacks)
    uses = replace(case, notes=spelled(case.notes), graces=spelled(case.graces)).uses() \
        if case.harp.mechanism == "pedal" else []
    asked = demands(case.score, uses, attacks, case.grips, case.player)
    if case.harp.mechanism == "lever":
        asked = replace(asked, levers=lever_work(case.score, attacks, case.grips, case.player))
    if not case.harp.hands_judged:
        asked = replace(asked, waits=tuple(w for w in asked.waits
                                           if w.kind not in ("travel", "placing")))
    return asked


def _slow(case: Case, asked: Demands, bars: tuple[Ceiling, ...]) -> Iterator[Ceiling]:
    """Bars that go at no tempo, what limits the rest, and every other slow passage."""
    never = {c.first for c in bars if c.ratio == 0}
    yield from (c for c in bars if c.first in never)
    asked = asked.without(never)
    whole = limiting_passage(case.score, asked)
    if not never or not math.isinf(whole.ratio):
        yield whole
    runs: list[list[int]] = []
    for one in (c for c in bars if 0 < c.ratio < 1):
        if runs and one.first - runs[-1][-1] <= 1:
            runs[-1].append(one.first)
        else:
            runs.append([one.first])
    passages = (ceiling(case.score, asked, run[0], run[-1]) for run in runs)
    yield from sorted((p for p in passages if not p.first <= whole.first <= whole.last <= p.last),
                      key=lambda c: (c.ratio, c.first))


def reported(case: Case, found: Inspection) -> dict[str, Any]:
    """Return both as they stand in the report of a check."""
    limits, bars = tempo_limits(case, found), case.score.measures
    return {
        "tempo_limits": {"told": list(limits.told), "bars": [
            {"bar": bars[c.first].number, "bar_index": c.first + 1, "crotchet": c.crotchet,
             "ratio": round(c.ratio, 4), "limit": c.kind} for c in limits.bars]},
        "conflicts": [
            {"bar": bars[each.bar].number, "bar_index": each.bar + 1, "complete": each.complete,
             "sets": [{"kind": c.kind, "notes": [n.id for n in c.notes], "message": c.message,
                       "named": _named(case, c)} for c in each.sets]}
            for each in conflicting(case, found)]}


def _named(case: Case, conflict: Conflict) -> list[str]:
    """Name every note, with its bar and beat where they are not all struck at once."""
    together = len({n.onset for n in conflict.notes}) == 1
    names = []
    for note in conflict.notes:
        where = case.score.locate(note.onset, note.measure)
        bar = f"{bar_name(where.bar)}, " if note.measure != conflict.notes[-1].measure else ""
        names.append(note.pitch.label if together else
                     f"{note.pitch.label} ({bar}beat {beat_words(where.beat)})")
    return names
