"""Examine a harp part: all checks, remedies proved by checking again, severities as asked for."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache

from arranger.checks import (
    compass,
    damping,
    glissandi,
    hands,
    harmonics,
    lever_marks,
    lever_part,
    notation,
    pedal_changes,
    pedal_marks,
    pedals,
    ring,
    strings,
    tempo,
)
from arranger.checks.case import RANK, Case, setting_at, with_notes
from arranger.checks.gathered import gathered
from arranger.checks.marked_levers import standing
from arranger.model.diagnostic import Diagnostic, Remedy
from arranger.model.ledger import Drop, Merge
from arranger.model.mark_edits import MarkEdit
from arranger.model.score import Note
from arranger.passes.edit_part import edited
from arranger.passes.respell import Respelling, respelled
from arranger.plan.unfolded import within
from arranger.rulebook.rules import rule

Rule = Callable[[Case], Iterator[Diagnostic]]
#: Code -> check, in the order of the rulebook's families.
CHECKS: Mapping[str, Rule] = {
    **pedals.CHECKS, **pedal_marks.CHECKS, **strings.CHECKS, **hands.CHECKS, **ring.CHECKS,
    **glissandi.CHECKS, **harmonics.CHECKS, **damping.CHECKS, **compass.CHECKS,
    **notation.CHECKS, **tempo.CHECKS}
#: Code -> check of a harp with levers, instead of those of pedals.
LEVER_CHECKS: Mapping[str, Rule] = {**lever_part.CHECKS, **lever_marks.CHECKS}
#: Rules of pedals, which say nothing of other harps.
_OF_PEDALS = frozenset({*pedals.CHECKS, *pedal_marks.CHECKS, "C2", "L1", "L3", "N1", "N3", "N6"})
#: Rules that look at which hand takes what; H1 to H3 look at each attack by itself.
_BY_HANDS = frozenset({*hands.CHECKS, *LEVER_CHECKS, "S3", "S4"} - {"H1", "H2", "H3"})
#: Errors that leaving out a note cannot bring about: each is of notes that are there, too near.
_NOT_BY_LESS = frozenset({"P1", "P3", "S1", "S2", "H1", "H2", "H3", "R1", "O2", "C1"})
#: Rules of single notes, of which several may be told at one moment.
_OF_A_NOTE = frozenset({"C1", "C2"})
#: Bars on each side of a finding that are checked again with a remedy applied (assumption).
AROUND = 3
#: What is said of a trouble that another spelling mends.
OTHERWISE = "; spelled otherwise it goes at this tempo"
#: So many changes of one bar are told together (assumption).
CROWD = 3
#: Edits that are still no stretch (assumption).
FEW = 4
#: Remedies offered for one finding at most.
MOST = 4
Levels = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Inspection:
    """What was found, and how much was looked at; ``each``: before what is alike was joined."""

    findings: tuple[Diagnostic, ...]
    each: tuple[Diagnostic, ...]
    attacks: int
    chords: int
    moves: int
    marks: int
    respelling: Respelling


def inspect(case: Case, levels: Levels) -> Inspection:
    """Check a part by every rule that is not switched off.

    Parameters
    ----------
    levels : code -> off, advice, warning or error: the most a finding of the rule may be.
    """
    found = [d for d in checked(case) if levels.get(d.code) != "off"]
    joined = pedal_changes.over_jumps(case)
    plan = respelled(case, [d for d in found if d.code in ("P1", "P3", "S1")
                            and d.severity == "error" and case.harp.mechanism == "pedal"
                            and d.notes not in joined])
    told = [d if d.notes in joined else _judged(d, plan) for d in found]
    proof = _Proof(case)
    told = [_levelled(replace(d, remedies=proof.proved(d)), levels) for d in told]
    told = [_near(d) for d in _crowded_bars(told)]
    told.sort(key=lambda d: (d.where.onset, -RANK[d.severity], d.code, d.notes))
    return Inspection(
        tuple(gathered(told)), tuple(told), len(case.attacks),
        sum(len(a.notes) > 1 for a in case.attacks), _moves(case), _marks(case), plan)


def _moves(case: Case) -> int:
    """Count the moves of pedals or levers that the part asks for as spelled."""
    if case.harp.mechanism == "pedal":
        return sum(not c.jump for c in pedal_changes.changes(case))
    levers = lever_part.lever_draft(case, {}).levers
    return len(levers.moves) if levers else 0


def _marks(case: Case) -> int:
    """Count the written marks of what moves on this harp."""
    if case.harp.mechanism == "lever":
        return sum(len(m.signs) for m in case.marks.levers)
    return sum(len(m.alters) for m in case.marks.pedals)


#: Rules whose findings can be errors: a remedy may add none of them.
GRAVE = tuple(code for code in CHECKS if rule(code).severity == "error")
#: What no remedy may add: errors, and a pedal that moves while the hand glides.
_GRAVE = (*GRAVE, "L3", *(code for code in LEVER_CHECKS if rule(code).severity == "error"))


@cache
def rules_of(mechanism: str, hands_judged: bool) -> Mapping[str, Rule]:
    """Return the checks of a harp: levers instead of pedals, hands where their limits hold."""
    found = dict(CHECKS)
    if mechanism != "pedal":
        found = {code: each for code, each in CHECKS.items() if code not in _OF_PEDALS}
    if mechanism == "chromatic":
        del found["S1"]
    if mechanism == "lever":
        found |= LEVER_CHECKS
    return {code: each for code, each in found.items() if hands_judged or code not in hands.CHECKS}


def checked(case: Case, codes: Iterable[str] | None = None) -> list[Diagnostic]:
    """Everything the rules of the harp have to say, remedies not yet proved."""
    rules = rules_of(case.harp.mechanism, case.harp.hands_judged)
    return [d for code in (rules if codes is None else codes) if code in rules
            for d in rules[code](case)]


def _judged(found: Diagnostic, plan: Respelling) -> Diagnostic:
    """An error of the pedals stays one only where the planner has no way, respelled or not."""
    place = (found.code, found.where.onset)
    if place in plan.as_written and found.code != "S1" and found.severity == "error":
        return pedals.by_a_quick_foot(found)
    remedy = plan.remedies.get(place)
    if remedy is None:
        return found
    with_plan = replace(found, remedies=(*found.remedies, remedy))
    if found.code == "S1" or found.severity != "error":
        return with_plan
    message = found.message.replace("; it goes up to", "; as spelled it goes up to")
    return replace(with_plan, severity="warning", message=f"{message}{OTHERWISE}")


def _crowded_bars(found: Sequence[Diagnostic]) -> list[Diagnostic]:
    """Say once a bar that its pedals come too soon as spelled, where one spelling serves all."""
    bars: dict[tuple[int, str], list[Diagnostic]] = {}
    for each in found:
        if each.code == "P1" and each.message.endswith(OTHERWISE):
            for remedy in each.remedies:
                bars.setdefault((each.where.bar_index, remedy.title), []).append(each)
    kept = list(found)
    for (_, title), some in sorted(bars.items(), key=lambda item: -len(item[1])):
        if len(some) < CROWD or any(d not in kept for d in some):
            continue
        first = some[0]
        shown = ", ".join(dict.fromkeys(d.message.split(" after ")[0] for d in some))
        remedies = tuple(r for r in first.remedies if r.title == title)
        notes = tuple(dict.fromkeys(n for d in some for n in d.notes))
        kept[kept.index(first)] = replace(
            first, notes=notes, remedies=remedies,
            message=f"{len(some)} pedal changes come too fast: {shown}{OTHERWISE}")
        kept = [d for d in kept if d not in some[1:]]
    return kept


def _near(found: Diagnostic) -> Diagnostic:
    """Keep no remedy that respells a whole stretch where a few notes do as well."""
    kept = [r for at, r in enumerate(found.remedies) if not any(
        b.fidelity == r.fidelity and len(b.edits) < len(r.edits) > FEW
        for b in found.remedies[:at])]
    return replace(found, remedies=tuple(kept))


def _levelled(found: Diagnostic, levels: Levels) -> Diagnostic:
    level = levels.get(found.code)
    if level is None or level == "off" or RANK[level] >= RANK[found.severity]:
        return found
    return replace(found, severity=level)  # type: ignore[arg-type]  # one of RANK


def _could_add(remedy: Remedy, case: Case, cured: str) -> list[str]:
    """Codes of the errors that a remedy for a finding might bring about in this part."""
    fewer = all(isinstance(e, Drop | Merge) for e in remedy.edits)
    return [code for code in _GRAVE if not (fewer and code in _NOT_BY_LESS)
            and (case.fingers or code != "H4")
            and (code != "H12" or cured in _BY_HANDS or (cured == "R1" and not fewer))
            and (case.marks.pedals or code not in pedal_marks.CHECKS)
            and (code != "L3" or any(isinstance(e, MarkEdit) for e in remedy.edits))
            and (case.harp.mechanism == "lever" or code not in LEVER_CHECKS)]


class _Proof:
    """Checks the bars around a finding again, with a remedy applied."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self._windows: dict[tuple[int, int], Case] = {}
        self._before: dict[tuple[int, int], Counter[tuple[str, str]]] = {}
        self._bar_of = {n.id: n.measure for n in case.notes}
        self._bars: dict[int, list[Note]] = {}
        for note in (*case.notes, *case.graces):
            self._bars.setdefault(note.measure, []).append(note)

    def proved(self, found: Diagnostic) -> tuple[Remedy, ...]:
        """Remedies that take the finding away and add no error, by fidelity and then cost."""
        ranked = sorted(found.remedies, key=lambda r: (
            r.fidelity != "same-sound", r.cost or 0, len(r.edits), r.title))
        kept: list[Remedy] = []
        for remedy in ranked:
            if len(kept) < MOST and remedy.edits and all(
                    k.title != remedy.title for k in kept) and self._holds(found, remedy):
                kept.append(remedy)
        return tuple(kept)

    def _holds(self, found: Diagnostic, remedy: Remedy) -> bool:
        bar = found.where.bar_index - 1
        touched = [self._bar_of[i] for i in found.notes if i in self._bar_of] or [bar]
        first, last = min(bar, *touched) - AROUND, max(bar, *touched) + AROUND
        key = (first, last)
        if key not in self._windows:
            self._windows[key] = excerpt(self.case, first, last, self._bars, hands=False)
        grave = _could_add(remedy, self.case, found.code)
        by_hands = not _BY_HANDS.isdisjoint({found.code, *grave})
        after = edited(self._windows[key], remedy.edits, by_hands)
        if any(_same(found, d) for d in checked(after, [found.code])):
            return False
        errors = _errors(checked(after, grave))
        return not errors or not errors - self._errors_before(key)

    def _errors_before(self, key: tuple[int, int]) -> Counter[tuple[str, str]]:
        if key not in self._before:
            self._before[key] = _errors(checked(excerpt(self.case, *key, self._bars), _GRAVE))
        return self._before[key]


def excerpt(case: Case, first: int, last: int,
            bars: Mapping[int, Sequence[Note]] | None = None, hands: bool = True) -> Case:
    """Bars ``first`` to ``last`` (indices) of a case, with the setting known at their start.

    ``hands``: as in ``with_notes``.
    """
    if bars is None:
        notes: list[Note] = [n for n in (*case.notes, *case.graces) if first <= n.measure <= last]
    else:
        notes = [n for bar in range(first, last + 1) for n in bars.get(bar, ())]
    measures = case.score.measures
    start = measures[max(first, 0)].onset
    end = measures[last + 1].onset if last + 1 < len(measures) else None

    def inside(onset: Fraction) -> bool:
        return onset >= start and (end is None or onset < end)
    marks = replace(case.marks, pedals=tuple(m for m in case.marks.pedals if inside(m.onset)),
                    levers=tuple(m for m in case.marks.levers if inside(m.onset)))
    entry = setting_at(case, start, before=True) if first > 0 else dict(case.entry)
    order = within(case.score.playing_order, max(first, 0), last)
    part = with_notes(replace(case, score=replace(case.score, playing_order=order)), notes, marks,
                      entry, hands)
    if case.harp.mechanism == "lever" and first > 0 and case.marks.levers:
        part = replace(part, lever_entry=standing(case, start))
    return part


def _errors(found: Iterable[Diagnostic]) -> Counter[tuple[str, str]]:
    return Counter((d.code, d.where.bar) for d in found if d.severity == "error" or d.code == "L3")


def _same(one: Diagnostic, other: Diagnostic) -> bool:
    """Tell whether a finding is still there: of one rule, at one place or about one note."""
    if one.code != other.code:
        return False
    if one.code in _OF_A_NOTE:
        return bool(set(one.notes) & set(other.notes))
    return one.where.onset == other.where.onset or bool(set(one.notes) & set(other.notes)
                                                        and one.where.bar == other.where.bar)

