"""What the feet are asked for by the notes as they are spelled."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np

from arranger.checks.case import Case
from arranger.checks.pedal_changes import Change, changes, foot_time, later_beat, marked_at
from arranger.model.diagnostic import Diagnostic, Remedy
from arranger.model.harp import LEFT_FOOT, HarpString, PedalSetting, pedal_word
from arranger.model.ledger import Respell
from arranger.model.mark_edits import MoveMark
from arranger.model.score import Note
from arranger.plan import foot_order
from arranger.plan.ring import AUDIBLE, T60, level
from arranger.plan.timing import Window, windows
from arranger.rulebook.rules import rule

_LONGEST = 8  # moves of one foot weighed together
_BUSY = 12  # moves of one foot that are tried in other orders
_FEET = {True: "left foot", False: "right foot"}


def in_time(case: Case) -> Iterator[Diagnostic]:
    """P1: too little time between two positions of one letter."""
    yield from _grace_against_note(case)
    calm = case.player.foot_sustained_seconds
    for change in changes(case):
        need = foot_time(case, change.notches)
        late = change.gap < need - 1e-6
        if late or change.gap < calm - 1e-6:
            old, new = change.old, change.new
            yield case.say(
                "P1", "error" if late else "warning",
                f"{new.pitch.label} follows {old.pitch.label} after {change.gap:.2f} s: "
                + ("no foot can move the pedal between them" if late
                   else f"the {new.pitch.step} pedal has to be quick"),
                (old, new), onset=new.onset, need=(change.gap, need if late else calm),
                remedies=_ways_out(case, old, new, drop=late))


def _grace_against_note(case: Case) -> Iterator[Diagnostic]:
    """A grace note whose letter its main note, or the next grace note, wants otherwise."""
    struck = {a.onset: a.notes for a in case.attacks} if case.graces else {}
    for rank, grace in enumerate(case.graces):
        others = (n for n in case.graces[rank + 1:] if n.onset == grace.onset)
        for note in (*others, *struck.get(grace.onset, ())):
            if note.pitch.step == grace.pitch.step and note.pitch.alter != grace.pitch.alter:
                yield case.say("P1", "error", f"no foot can move the pedal between the grace note "
                               f"{grace.pitch.label} and {note.pitch.label}", (grace, note),
                               remedies=[*case.respelled(grace), *case.respelled(note),
                                         case.dropped(grace, (grace,))])


def _ways_out(case: Case, old: Note, new: Note, drop: bool) -> Iterator[Remedy]:
    """Other spellings; only where no foot comes in time a note less (none for a warning)."""
    for note in (new, old):
        yield from case.respelled(note)
        yield from _all_respelled(case, note)
        if drop:
            yield case.dropped(note, [note] if note.grace else next(
                a.notes for a in case.attacks if a.onset == note.onset))


def _all_respelled(case: Case, note: Note) -> Iterator[Remedy]:
    """The same pitch respelled wherever it stands in this bar."""
    same = [n for n in case.notes if n.measure == note.measure and n.pitch == note.pitch]
    if len(same) < 2:
        return
    for remedy in case.respelled(note):
        edits = tuple(Respell(n.id, e.pitch) for e in remedy.edits if isinstance(e, Respell)
                      for n in same)
        yield Remedy(f"{remedy.title} in the whole bar", "same-sound",
                     len(same) * (remedy.cost or 0), edits)


def one_foot(case: Case) -> Iterator[Diagnostic]:
    """P3: more moves for one foot than its time allows, in any order, or as they are marked."""
    yield from _marked_close(case)
    _, wanted = windows(case.uses(), PedalSetting())
    wide = [w for w in wanted if w.from_alter != w.to_alter
            and case.seconds(w.before) - case.seconds(w.after)
            >= foot_time(case, abs(w.to_alter - w.from_alter)) - 1e-6]
    if not wide:
        return
    told: set[Window] = set()
    for late, busy in _out_of_order(case, wide):
        rivals = [late, *_rivals(late, busy, [w for w in wide if w not in told])]
        if _impossible(case, rivals):
            rivals = _fewest(case, rivals)
            told.update(rivals)
            yield _crowded(case, late, rivals, late.pedal in LEFT_FOOT)
    yield from _unrelenting(case, [w for w in wide if w not in told])


def _marked_close(case: Case) -> Iterator[Diagnostic]:
    """Marks of one foot closer together than it works at leisure, though it can."""
    if not case.changes_marked:
        return
    known = dict(case.entry)
    moves: dict[bool, list[tuple[Fraction, str]]] = {True: [], False: []}
    for mark in case.marks.pedals:
        for letter, alter in mark.alters.items():
            if known.get(letter, alter) != alter:
                moves[letter in LEFT_FOOT].append((mark.onset, pedal_word(letter, alter)))
        known.update(mark.alters)
    quick, calm = case.player.foot_move_seconds, case.player.foot_sustained_seconds
    for foot in moves.values():
        for (start, one), (onset, two) in pairwise(foot):
            wait = case.seconds(onset) - case.seconds(start)
            if quick - 1e-6 <= wait < calm - 1e-6:
                yield case.say("P3", "warning", f"one foot moves {one} and {two} within "
                               f"{wait:.2f} s", onset=onset, need=(wait, calm))


def _impossible(case: Case, moves: Sequence[Window]) -> bool:
    return not foot_order.in_some_order([foot_order.in_time(
        case.seconds(w.after), case.seconds(w.before),
        foot_time(case, abs(w.to_alter - w.from_alter))) for w in moves])


def _rivals(late: Window, busy: Sequence[Window], wide: Sequence[Window]) -> list[Window]:
    """The narrowest windows of the same foot in the time of a late move and the busy ones."""
    start = min(w.after for w in (late, *busy))
    stop = max(w.before for w in (late, *busy))
    return sorted((w for w in wide if w != late and w.after < stop and w.before > start
                   and (w.pedal in LEFT_FOOT) == (late.pedal in LEFT_FOOT)),
                  key=lambda w: w.before - w.after)[:_BUSY]


def _fewest(case: Case, moves: Sequence[Window]) -> list[Window]:
    """Some of these moves that are too many, none of which can be spared."""
    kept = list(moves)
    for move in moves:
        fewer = [w for w in kept if w is not move]
        if _impossible(case, fewer):
            kept = fewer
    return kept


def _out_of_order(case: Case, wide: Sequence[Window]) -> Iterator[tuple[Window, list[Window]]]:
    """Windows a foot misses that simply begins next with what is wanted first.

    With each the moves the foot has made without a rest before it.
    """
    for left in (True, False):
        waiting = sorted((w for w in wide if (w.pedal in LEFT_FOOT) == left),
                         key=lambda w: w.after)
        free = 0.0
        busy: list[Window] = []
        while waiting:
            start = case.seconds(waiting[0].after)
            if start > free:
                busy = []
            now = max(free, start)
            ready = bisect_right(waiting, now + 1e-9, key=lambda w: case.seconds(w.after))
            first = min(waiting[:ready], key=lambda w: w.before)
            waiting.remove(first)
            over = now + foot_time(case, abs(first.to_alter - first.from_alter))
            if over <= case.seconds(first.before) + 1e-6:
                free = over
                busy = [*busy, first]
            else:
                yield first, busy


def _unrelenting(case: Case, wide: Sequence[Window]) -> Iterator[Diagnostic]:
    """Three moves or more of one foot in a stretch too short for its lasting pace."""
    pace = case.player.foot_sustained_seconds
    for left in (True, False):
        mine = [w for w in wide if (w.pedal in LEFT_FOOT) == left]
        told = -1
        for at, window in enumerate(mine):
            for start in range(at - 2, max(at - _LONGEST, told), -1):
                group = mine[max(start, 0):at + 1]
                have = case.seconds(window.before) - min(case.seconds(w.after) for w in group)
                need = pace * len(group)
                if start >= 0 and have < need - pace / 2:
                    told = at
                    words = ", ".join(pedal_word(w.pedal, w.to_alter) for w in group)
                    yield case.say("P3", "warning", f"the {_FEET[left]} moves {words} within "
                                   f"{have:.2f} s, faster than it can go on", [
                                       n for n in case.notes if n.onset == window.before
                                       and n.pitch.step == window.pedal],
                                   onset=window.before, need=(have, need - pace / 2))
                    break


def _crowded(case: Case, window: Window, rivals: Sequence[Window], left: bool) -> Diagnostic:
    notes = [n for n in case.notes if n.onset == window.before
             and n.pitch.step == window.pedal and n.pitch.alter == window.to_alter]
    words = ", ".join(pedal_word(w.pedal, w.to_alter)
                      for w in sorted(rivals, key=lambda w: (w.before, w.pedal)))
    start = min(case.seconds(w.after) for w in rivals)
    have = max(case.seconds(w.before) for w in rivals) - start
    need = sum(foot_time(case, abs(w.to_alter - w.from_alter)) for w in rivals)
    remedies = [r for n in notes for r in
                (*case.respelled(n), case.dropped(n, [m for m in case.notes
                                                      if m.onset == n.onset]))]
    return case.say("P3", "error", f"the {_FEET[left]} is asked {words} within {have:.2f} s: one "
                    f"pedal at a time is all it can do", notes, onset=window.before,
                    need=(have, max(need, have * 1.01)), remedies=remedies)


@dataclass(frozen=True, slots=True)
class _Ringing:
    """A note that still rings when its pedal moves, ``lead`` seconds before the new note."""

    change: Change
    note: Note
    age: float
    lead: float

    def need(self, marked: bool) -> tuple[float, float]:
        """Seconds there are and seconds wanted; a mark moves with the tempo, a foot does not."""
        if marked:
            return self.age - self.lead, _rings(self.note)
        return self.age, _rings(self.note) + self.lead


def ringing(case: Case) -> Iterator[Diagnostic]:
    """P2: when the pedal moves the old pitch of the letter still sounds loud, though not held."""
    bars: dict[tuple[int, bool], _Ringing] = {}  # the first of a bar, on wire or gut strings
    for change in changes(case):
        found = _ringing(case, change)
        if found is not None:
            wire = HarpString.of(found.note.pitch) <= case.harp.wire_top
            bars.setdefault((change.new.measure, wire), found)
    gut = [found for (_, wire), found in bars.items() if not wire]
    many = len(gut) > rule("P2").number("gut_bars")
    if many:
        numbers = [case.score.measures[each.change.new.measure].number for each in gut]
        joined = case.say("P2", "advice", f"pedals move while a string of theirs still rings in "
                       f"{len(gut)} bars ({', '.join(numbers)}): damp it first where the move is "
                       f"heard as a slide", [each.note for each in gut],
                       onset=gut[0].change.new.onset)
        yield replace(joined, again=tuple(
            case.score.locate(n.onset, n.measure) for n in (e.change.new for e in gut[1:])))
    for (_, wire), each in bars.items():
        if wire or not many:
            yield _told(case, each, wire)


def _ringing(case: Case, change: Change) -> _Ringing | None:
    """The lowest note of a change that rings loud and is neither held nor damped."""
    lead = _lead(case, change)
    if any(_held(case, *each) for each in change.before) or _early(case, change) is not None:
        return None
    loud = [(n, age) for n, age in change.before if 0 < age - lead < _rings(n)
            and not case.damped(n, case.seconds(change.new.onset))]
    if not loud:
        return None
    return _Ringing(change, *min(loud, key=lambda each: each[0].midi), lead)


def _told(case: Case, found: _Ringing, wire: bool) -> Diagnostic:
    note, new = found.note, found.change.new
    return case.say("P2", "warning" if wire else "advice",
                    f"the {note.pitch.step} pedal moves while {note.pitch.label}"
                    f"{', a wire string,' if wire else ''} still rings: damp it first, or "
                    f"the move is heard as a slide", (note, new), onset=new.onset,
                    need=found.need(marked_at(case, found.change) is not None))


def _held(case: Case, note: Note, age: float) -> bool:
    """Tell whether a note is still written as held, and heard, so many seconds after its pluck."""
    return (case.seconds(note.end) - case.seconds(note.onset) > age + 1e-6
            and bool(level(np.array([note.midi]), np.array([max(age, 0.0)]))[0] > AUDIBLE))


def _rings(note: Note) -> float:
    """Seconds after its pluck for which a move of the pedal is heard on a string."""
    return float(T60[note.midi]) * -rule("P2").number("bad_decibels") / 60.0


def _lead(case: Case, change: Change) -> float:
    """Seconds before the new note at which the pedal moves: as marked, else as late as it can."""
    latest = foot_time(case, change.notches)
    marked = marked_at(case, change)
    return latest if marked is None else max(
        latest, case.seconds(change.new.onset) - case.seconds(marked))


def two_notches(case: Case) -> Iterator[Diagnostic]:
    """P4: from flat to sharp or back in little time."""
    room = rule("P4").number("calm_seconds")
    for change in changes(case):
        need = case.player.foot_two_notch_seconds
        if change.notches == 2 and need <= change.gap < room - 1e-6:
            yield case.say(
                "P4", "advice", f"from {change.old.pitch.label} to {change.new.pitch.label} the "
                f"pedal passes a notch; the other spelling may be nearer",
                (change.old, change.new), onset=change.new.onset,
                remedies=[r for n in (change.new, change.old) for r in case.respelled(n)])


def chromatic(case: Case) -> Iterator[Diagnostic]:
    """P5: a run of semitones that moves pedals all the way."""
    found = rule("P5")
    steps, slow = int(found.number("semitones")), found.number("slow_seconds")
    lines: dict[tuple[int, str], list[Note]] = {}
    for note in case.notes:
        line = lines.setdefault((note.staff, note.voice), [])
        if not line or line[-1].onset != note.onset:
            line.append(note)
        elif note.midi > line[-1].midi:
            line[-1] = note
    for line in lines.values():
        run: list[Note] = []
        for one, two in pairwise([*line, None]):
            assert one is not None
            run.append(one)
            goes_on = (two is not None and abs(two.midi - one.midi) == 1
                       and case.seconds(two.onset) - case.seconds(one.onset) < slow - 1e-6
                       and (len(run) < 2 or (two.midi > one.midi) == (one.midi > run[-2].midi)))
            if goes_on:
                continue
            letters = [n.pitch.step for n in run]
            if len(run) > steps and len(set(letters)) < len(letters):
                gap = (case.seconds(run[-1].onset) - case.seconds(run[0].onset)) / (len(run) - 1)
                yield case.say("P5", "warning", f"{len(run)} notes in semitones from "
                               f"{run[0].pitch.label} to {run[-1].pitch.label} move the pedals all "
                               f"the way: possible only slowly", run, need=(gap, slow))
            run = []


def held_through(case: Case) -> Iterator[Diagnostic]:
    """P13: a note held and heard when its own letter must move, or is marked to move."""
    for change in changes(case):
        held = [n for n, age in change.before if _held(case, n, age)]
        if held:
            old, new = min(held, key=lambda n: n.midi), change.new
            yield case.say("P13", "warning", f"{old.pitch.label} is held while {new.pitch.label} "
                           f"needs its pedal moved: the held string would slide with it",
                           (old, new), onset=new.onset,
                           remedies=[r for n in (new, old) for r in case.respelled(n)])
        else:
            yield from _marked_early(case, change)


def _marked_early(case: Case, change: Change) -> Iterator[Diagnostic]:
    """A mark under a note that is held and loud there, though a later one would do as well."""
    early = _early(case, change)
    if early is None:
        return
    old, marked, later = early
    letter, alter = change.new.pitch.step, change.new.pitch.alter
    word = pedal_word(letter, alter)
    yield case.say("P13", "warning", f"{word} is marked while {old.pitch.label} is held: the "
                   f"held string would slide with it", (old, change.new), onset=marked, remedies=[
                       Remedy(f"move {word} to {case.score.locate(later)}", "same-sound",
                              case.judge.prices["notch"],
                              (MoveMark(marked, letter, alter, later),))])


def _early(case: Case, change: Change) -> tuple[Note, Fraction, Fraction] | None:
    """The note a change is marked under while it is held and loud, the mark, and a later place."""
    marked = marked_at(case, change)
    if marked is None:
        return None
    lead = _lead(case, change)
    loud = [n for n, age in change.before if age > lead and _held(case, n, age - lead)
            and _rings(n) > age - lead]
    later = later_beat(case, marked, change)
    return (min(loud, key=lambda n: n.midi), marked, later) if loud and later is not None else None


def by_a_quick_foot(found: Diagnostic) -> Diagnostic:
    """Return an error of the feet as a warning, where a plan of the pedals manages all the same."""
    return replace(found, severity="warning", message=found.message.replace(
        "no foot can move the pedal", "only a quick foot moves the pedal"))


CHECKS = {"P1": in_time, "P2": ringing, "P3": one_foot, "P4": two_notches, "P5": chromatic,
          "P13": held_through}
