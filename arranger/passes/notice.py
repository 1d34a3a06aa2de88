"""What the player should know besides what is wrong: losses in tune and bass, pedals, signs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from arranger.checks.case import Case, Judge, with_notes
from arranger.checks.gathered import gathered
from arranger.checks.ring import low_trill, restrike, tremolo_on_one_string
from arranger.io.harp_clean import Removed
from arranger.model.diagnostic import Diagnostic, Severity
from arranger.model.draft import Draft
from arranger.model.harp import HarpString, pedal_word
from arranger.model.ledger import Alteration, Drop, Merge, OctaveShift, Repitch
from arranger.model.marks import PartMarks
from arranger.model.pitch import Pitch
from arranger.model.score import Note, bar_name
from arranger.passes.settings import Settings
from arranger.passes.start import as_source, start
from arranger.plan.ornaments import auxiliaries
from arranger.plan.roles import roles
from arranger.rulebook.rules import rule

#: Checks of a part that judge a draft too.
_OF_STRINGS = (restrike, low_trill, tremolo_on_one_string)


def notices(draft: Draft, removed: Sequence[Removed],
            settings: Settings) -> tuple[Diagnostic, ...]:
    """Warnings and advice about a draft, in order of time."""
    found = [*_outer_voices(draft), *_hurried(draft, settings), *_held(draft),
             *_ringing(draft, settings), *_ornaments(draft), *_signs(draft, removed)]
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


def _hurried(draft: Draft, settings: Settings) -> list[Diagnostic]:
    """Two moves of one foot closer than a foot works at leisure."""
    found = []
    for foot in "LR":
        mine = [m for m in draft.plan.moves if m.foot == foot]
        for one, two in pairwise(mine):
            wait = two.seconds - one.seconds
            if settings.player.foot_move_seconds - 1e-6 <= wait \
                    < settings.player.foot_sustained_seconds - 1e-6:
                found.append(_say(
                    draft, "P3", "warning",
                    f"one foot moves {pedal_word(one.pedal, one.after)} and "
                    f"{pedal_word(two.pedal, two.after)} within {wait:.2f} s", two.onset))
    return found


def _held(draft: Draft) -> list[Diagnostic]:
    """Pedals moved while a note of theirs is still written as held."""
    found = []
    for move in draft.plan.moves:
        under = [n for n in draft.notes if n.pitch.step == move.pedal
                 and n.pitch.alter == move.before and n.onset < move.onset < n.source.end
                 and n.string not in draft.plan.fixed]
        if under:
            found.append(_say(draft, "P2", "warning",
                              f"the pedal moves to {pedal_word(move.pedal, move.after)} while "
                              f"{under[0].pitch.label} is held: damp it, or let it slide",
                              move.onset, tuple(n.id for n in under)))
    return found


def _ringing(draft: Draft, settings: Settings) -> list[Diagnostic]:
    """What the check of a part says of strings that sound on, by the same rules.

    What no finger can play is left to the errors of the draft; a remedy is for a part that stands.
    """
    judge = Judge(settings.harp, settings.player, settings.prices)
    blank = Case(as_source(draft), draft.part, judge, (), (), (), PartMarks())
    case = with_notes(blank, blank.score.part_notes(draft.part), hands=False)
    found = sorted((d for check in _OF_STRINGS for d in check(case) if d.severity != "error"),
                   key=lambda d: (d.where.onset, d.code, d.notes))
    return gathered([replace(d, remedies=()) for d in found])


def _ornaments(draft: Draft) -> list[Diagnostic]:
    """Ornaments whose other note the pedals or levers do not give where they stand."""
    if draft.levers is not None and not draft.levers.opening:
        return []  # a string for every semitone
    bars: dict[int, list[Note]] = {}
    for note in draft.source.part_notes(draft.part):
        bars.setdefault(note.measure, []).append(note)
    found = []
    for played in draft.notes:
        if not played.source.marks & {"trill", "turn", "mordent"}:
            continue
        here = played.source.measure
        for other in auxiliaries(played.source, bars[here], draft.source.measures[here].fifths):
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
