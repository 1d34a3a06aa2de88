"""What the player should know besides what is wrong: losses in tune and bass, pedals, signs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import groupby

from arranger.checks import hands, pedals, ring, strings
from arranger.checks.case import Case, Judge, with_notes
from arranger.checks.gathered import gathered
from arranger.io.harp_clean import Removed
from arranger.model.diagnostic import Diagnostic, Severity
from arranger.model.draft import Draft
from arranger.model.harp import PEDALS, HarpString, pedal_word
from arranger.model.ledger import Alteration, Drop, Merge, OctaveShift, Repitch
from arranger.model.marks import DampSign, PartMarks, PedalMark
from arranger.model.pitch import Pitch
from arranger.model.score import bar_name
from arranger.passes.settings import Settings
from arranger.passes.start import as_source, start
from arranger.plan.ornaments import ornamented
from arranger.plan.part_hands import Grip
from arranger.plan.roles import roles
from arranger.rulebook.rules import rule

#: Checks of a part that judge a draft too: all but those of what is written beside the notes, and
#: of what the errors of a draft tell.
_OF_PEDALS = tuple(pedals.CHECKS.values())
_OF_HANDS = tuple(check for code, check in {**strings.CHECKS, **hands.CHECKS}.items()
                  if code not in ("S1", "S2", "H1", "H2", "H3", "H4"))
_OF_STRINGS = tuple(check for code, check in ring.CHECKS.items() if code != "R7")


def notices(draft: Draft, removed: Sequence[Removed],
            settings: Settings) -> tuple[Diagnostic, ...]:
    """Warnings and advice about a draft, in order of time."""
    found = [*_outer_voices(draft), *_as_part(draft, settings), *_ornaments(draft),
             *_signs(draft, removed)]
    return tuple(sorted(found, key=lambda d: (d.where.onset, d.code, d.notes)))


def _say(draft: Draft, code: str, severity: Severity, message: str, onset: Fraction,
         notes: tuple[str, ...] = ()) -> Diagnostic:
    where = draft.source.locate(onset)
    return Diagnostic(code, rule(code).name, severity, message, where, notes, draft.part)


def _outer_voices(draft: Draft) -> list[Diagnostic]:
    """Bars in which tune or bass notes are changed or left out: the player decides."""
    first = start(draft.source, draft.part)
    part_roles = roles(first.notes)
    notes = {n.id: n for n in first.notes}
    bars: dict[tuple[int, str], list[Alteration]] = {}
    for entry in draft.ledger.entries:
        if isinstance(entry.edit, Drop | Merge | OctaveShift | Repitch):
            role = part_roles[entry.edit.note]
            voice = "tune" if role.tune else "bass" if role.bass else ""
            if voice:
                bars.setdefault((notes[entry.edit.note].source.measure, voice), []).append(entry)
    found = []
    for (_, voice), entries in bars.items():
        onset = notes[entries[0].edit.note].onset
        gone = sum(isinstance(e.edit, Drop | Merge) for e in entries)
        changed = len(entries) - gone
        told = " and ".join(f"{count} {voice} {'note' if count == 1 else 'notes'} {what}"
                            for count, what in ((gone, "left out"), (changed, "changed")) if count)
        found.append(_say(draft, "T4", "warning", f"{told}: {entries[0].reason}", onset,
                          tuple(e.edit.note for e in entries)))
    return found


def _as_part(draft: Draft, settings: Settings) -> list[Diagnostic]:
    """What the check says of the part that the draft will be written as, by the same rules.

    What cannot be played is left to the errors of the draft, whose pedals manage what would be
    beyond a foot by the notes alone; a remedy is for a part that stands. Chords too fast for a hand
    stay in a draft, for the player to thin or to play slower.
    """
    case = _case(draft, settings)
    checks = (*(_OF_PEDALS if draft.levers is None else ()),
              *(_OF_HANDS if settings.harp.hands_judged else ()), *_OF_STRINGS)
    told = [pedals.by_a_quick_foot(d) if d.code in pedals.CHECKS and d.severity == "error" else d
            for check in checks for d in check(case)]
    told = [replace(d, severity="warning") if d.code == "H12" else d for d in told]
    told = [replace(d, name="quick-pedal") if d.code == "P1" else d for d in told]  # in time it is
    found = sorted((d for d in told if d.severity != "error"),
                   key=lambda d: (d.where.onset, d.code, d.notes))
    return gathered([replace(d, remedies=()) for d in found])


def _case(draft: Draft, settings: Settings) -> Case:
    """The draft as a part under examination, with its own hands, fingers and marks."""
    hand = {n.id: n.hand for n in draft.notes}
    fingers = {n.id: n.finger for n in draft.notes if n.finger is not None}
    judge = Judge(settings.harp, settings.player, settings.prices)
    marks = PartMarks(pedals=tuple(_pedal_marks(draft)),
                      damps=tuple(DampSign(d.onset, letters="".join(
                          n.pitch.step for n in d.notes)) for d in draft.damps))
    blank = Case(as_source(draft), draft.part, judge, (), (), (), marks, fingers,
                 changes_marked=draft.levers is None)
    case = with_notes(blank, blank.score.part_notes(draft.part), hands=False)
    grips = tuple(Grip(tuple(n for n in a.notes if hand[n.id] == "L"),
                       tuple(n for n in a.notes if hand[n.id] == "R"), fingers={
                           n.id: fingers[n.id] for n in a.notes if n.id in fingers})
                  for a in case.attacks)
    return replace(case, grips=grips)


def _pedal_marks(draft: Draft) -> Iterator[PedalMark]:
    """The opening setting and every moment at which pedals move."""
    if draft.levers is not None or not draft.notes:
        return
    opening = dict(zip(PEDALS, draft.plan.opening.alters, strict=True))
    start = min(n.onset for n in draft.notes)
    yield PedalMark(start, draft.source.measure_at(start).index, opening, True)
    for onset, moves in groupby(draft.plan.moves, key=lambda m: m.onset):
        yield PedalMark(onset, draft.source.measure_at(onset).index,
                        {m.pedal: m.after for m in moves})


def _ornaments(draft: Draft) -> list[Diagnostic]:
    """Ornaments whose other note the pedals or levers do not give where they stand."""
    if draft.levers is not None and not draft.levers.opening:
        return []  # a string for every semitone
    found = []
    for played, others in ornamented(draft, draft.notes):
        for other in others:
            lack = _lacking(draft, played.onset, other)
            if lack:
                found.append(_say(draft, "P1" if draft.levers is None else "K1", "warning",
                                  f"the ornament on {played.pitch.label} wants {other.label}, "
                                  f"and {lack}", played.onset, (played.id,)))
    return found


def _lacking(draft: Draft, onset: Fraction, wanted: Pitch) -> str:
    """Why a pitch does not sound as pedals or levers stand at an onset; "" where it does."""
    if draft.levers is None:
        setting = draft.plan.at(onset)
        if wanted.pitch_class in setting.pitch_classes:
            return ""
        return (f"the pedal stands at {pedal_word(wanted.step, setting.alter(wanted.step))}: leave "
                "the ornament out, or set the pedal for it")
    standing = draft.levers.at(onset)
    if any(string.pitch(alter).midi == wanted.midi for string, alter in standing.items()):
        return ""
    here = standing.get(HarpString.of(wanted))
    return "no string gives it: leave the ornament out" if here is None else (
        f"its string stands at {pedal_word(wanted.step, here)}: leave the ornament out, or set the "
        "lever for it")


def _signs(draft: Draft, removed: Sequence[Removed]) -> list[Diagnostic]:
    if not removed:
        return []
    told = ", ".join(f"{r.kind} ({r.count}, first in {bar_name(r.bar)})" for r in removed)
    return [_say(draft, "N2", "advice", f"signs that are not for the harp taken out: {told}",
                 draft.source.measures[0].onset)]
