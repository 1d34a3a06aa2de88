"""Could the part be played if it were spelled otherwise? Asked of the planner, where it matters."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from arranger.checks.case import Case
from arranger.checks.playable import findings
from arranger.model.diagnostic import Diagnostic, Remedy
from arranger.model.ledger import Respell
from arranger.model.pitch import Pitch
from arranger.model.score import NoteId
from arranger.passes.pipeline import mark_pedals
from arranger.passes.settings import Settings

_AROUND = 4  # bars on each side that the planner may respell (assumption)


@dataclass(frozen=True, slots=True)
class Respelling:
    """Remedies by code and onset of the finding, and the spelling that would serve.

    ``as_written``: findings for which the planner finds a way without another spelling.
    """

    remedies: Mapping[tuple[str, Fraction], Remedy] = field(default_factory=dict)
    pitches: Mapping[NoteId, Pitch] = field(default_factory=dict)
    as_written: frozenset[tuple[str, Fraction]] = frozenset()


def respelled(case: Case, troubled: Sequence[Diagnostic]) -> Respelling:
    """Ask the planner for other spellings around each finding of the pedals."""
    remedies: dict[tuple[str, Fraction], Remedy] = {}
    as_written: set[tuple[str, Fraction]] = set()
    pitches: dict[NoteId, Pitch] = {}
    asked = [(first, last, *_plan(case, first, last)) for first, last in _stretches(troubled)]
    for found in troubled:
        bar = found.where.bar_index - 1
        chosen, hopeless = next((c, h) for first, last, c, h in asked if first <= bar <= last)
        if found.where.onset in hopeless:
            continue
        written = {n.id: n for n in (*case.notes, *case.graces)}
        near = {i: p for i, p in chosen.items() if abs(written[i].measure - bar) <= _AROUND}
        pitches |= near
        if not near:
            as_written.add((found.code, found.where.onset))
        else:
            told = ", ".join(dict.fromkeys(
                f"{p.label} for {written[i].pitch.label}" for i, p in near.items()))
            remedies[found.code, found.where.onset] = Remedy(
                f"write {told}", "same-sound", case.judge.prices["respell"] * len(near),
                tuple(Respell(i, p) for i, p in near.items()))
    return Respelling(remedies, pitches, frozenset(as_written))


def _stretches(troubled: Sequence[Diagnostic]) -> list[tuple[int, int]]:
    """Bars to be planned anew, first to last; stretches that touch are one."""
    found: list[tuple[int, int]] = []
    for bar in sorted({d.where.bar_index - 1 for d in troubled}):
        first, last = max(bar - _AROUND, 0), bar + _AROUND
        if found and first <= found[-1][1] + 1:
            found[-1] = (found[-1][0], last)
        else:
            found.append((first, last))
    return found


def _plan(case: Case, first: int,
          last: int) -> tuple[dict[NoteId, Pitch], frozenset[Fraction]]:
    """Other spellings the planner takes in these bars, and the onsets it cannot serve."""
    notes = tuple(sorted((n for n in (*case.notes, *case.graces) if first <= n.measure <= last),
                         key=lambda n: (n.onset, n.midi)))
    settings = Settings(case.harp, case.player, case.judge.prices)
    score = replace(case.score, notes=notes, playing_order=())
    arranged = mark_pedals(score, case.part, settings)
    wrong = [d.where.onset for d in findings(arranged.draft, case.harp, case.player)
             if d.code in ("P1", "P3", "S1")]
    missed = [w.before for w in arranged.missed]
    chosen = {n.id: n.pitch for n in arranged.draft.notes if n.pitch != n.source.pitch}
    return chosen, frozenset((*wrong, *missed))
