"""For a bar that cannot be played: the smallest sets of notes that conflict.

A set conflicts if it cannot be played and could be without any one of its notes: whoever changes
the bar has to give up at least one note of every set.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from arranger.checks.case import Case
from arranger.model.harp import LEFT_FOOT, HarpString, PedalSetting
from arranger.model.score import Note
from arranger.plan.foot_order import in_some_order, in_time
from arranger.plan.part_hands import fault
from arranger.plan.timing import Use, windows
from arranger.search.minimal_sets import minimal_sets

MOST_SETS = 12  # told of one bar at most
_CLOSE = 1e-6


@dataclass(frozen=True, slots=True)
class Conflict:
    """Notes of which at least one has to go; ``kind`` is pedals, strings or hands."""

    kind: str
    notes: tuple[Note, ...]
    message: str


@dataclass(frozen=True, slots=True)
class Conflicts:
    """Conflicts of a bar, the smallest sets first; ``complete`` if these are all there are."""

    sets: tuple[Conflict, ...]
    complete: bool = True


def conflicts(case: Case, measure: int) -> Conflicts:
    """Return the smallest conflicting sets with a note in this bar (index).

    Notes of the bar before count too, and the last use of every letter before that.
    """
    near = _near(case, measure)
    found = [*_positions(case, near), *_restrikes(case, near)]
    complete = True
    for left in (True, False) if case.harp.mechanism == "pedal" else ():
        mine = [n for n in near if (n.pitch.step in LEFT_FOOT) == left]
        sets, all_found = minimal_sets(mine, lambda notes: _foot_fails(case, notes))
        complete &= all_found
        pairs = [set(c.notes) for c in found if c.kind == "pedals"]
        found += [_crowd(s, left) for s in sets if not any(p <= set(s) for p in pairs)]
    for attack in case.attacks:
        if attack.notes[0].measure == measure and fault(attack.notes, case.player):
            sets, all_found = minimal_sets(attack.notes, lambda n: bool(fault(n, case.player)))
            complete &= all_found
            found += [_grasp(case, s) for s in sets]
    here = [c for c in found if any(n.measure == measure for n in c.notes)]
    here.sort(key=lambda c: (len(c.notes), c.notes[-1].onset, c.notes[0].onset,
                             [n.midi for n in c.notes]))
    return Conflicts(tuple(here[:MOST_SETS]), complete and len(here) <= MOST_SETS)


def _near(case: Case, measure: int) -> list[Note]:
    """Notes of a bar and the one before, and the last of every letter before these."""
    kept: list[Note] = []
    last: dict[str, Note] = {}
    for note in case.notes:
        if note.measure > measure:
            break
        if abs(note.pitch.alter) > 1 or HarpString.of(note.pitch) in case.harp.fixed:
            continue
        if note.measure >= measure - 1:
            kept.append(note)
        else:
            last[note.pitch.step] = note
    return [*last.values(), *kept]


def _positions(case: Case, notes: Sequence[Note]) -> Iterator[Conflict]:
    """Pairs that want one pedal (one lever) in two positions sooner than it is moved."""
    if case.harp.mechanism != "pedal":
        yield from _levers(case, notes)
        return
    player = case.player
    for old, new in combinations(notes, 2):
        notches = abs(old.pitch.alter - new.pitch.alter)
        if old.pitch.step != new.pitch.step or not notches:
            continue
        gap = case.seconds(new.onset) - case.seconds(old.onset)
        need = player.foot_two_notch_seconds if notches > 1 else player.foot_move_seconds
        if gap < need - _CLOSE:
            told = (f"{old.pitch.label} and {new.pitch.label} want the {old.pitch.step} pedal in "
                    f"two positions at once" if gap == 0 else
                    f"{new.pitch.label} follows {old.pitch.label} after {gap:.2f} s; the pedal "
                    f"needs {need:.2f} s")
            yield Conflict("pedals", (old, new), told)


def _levers(case: Case, notes: Sequence[Note]) -> Iterator[Conflict]:
    """Pairs on one string of a harp with levers, sooner than a lever is flipped."""
    for old, new in combinations(notes, 2) if case.harp.mechanism == "lever" else ():
        gap = case.seconds(new.onset) - case.seconds(old.onset)
        if old.pitch.position == new.pitch.position and old.pitch != new.pitch and \
                gap < case.player.lever_move_seconds + case.player.placing_lead_seconds - _CLOSE:
            yield Conflict("levers", (old, new), f"{old.pitch.label} and {new.pitch.label} lie on "
                           f"one string, {gap:.2f} s apart")


def _restrikes(case: Case, notes: Sequence[Note]) -> Iterator[Conflict]:
    """Pairs that pluck one string again before a finger is back on it."""
    for old, new in combinations(notes, 2):
        gap = case.seconds(new.onset) - case.seconds(old.onset)
        if old.pitch == new.pitch and 0 < gap < case.player.restrike_error_seconds - _CLOSE:
            yield Conflict("strings", (old, new), f"{new.pitch.label} is plucked again after "
                           f"{gap:.2f} s")


def _foot_fails(case: Case, notes: Sequence[Note]) -> bool:
    """Tell whether one foot cannot make the moves these notes ask for, however it orders them."""
    player = case.player
    uses = [Use(n.onset, n.pitch.step, n.pitch.alter, n.end, n.midi) for n in notes]
    _, changes = windows(uses, PedalSetting())
    return not in_some_order([in_time(
        case.seconds(w.after), case.seconds(w.before),
        player.foot_two_notch_seconds if abs(w.to_alter - w.from_alter) > 1
        else player.foot_move_seconds) for w in changes])


def _crowd(notes: Sequence[Note], left: bool) -> Conflict:
    ordered = tuple(sorted(notes, key=lambda n: (n.onset, n.midi)))
    names = ", ".join(n.pitch.label for n in ordered)
    return Conflict("pedals", ordered, f"the {'left' if left else 'right'} foot has no time for "
                    f"all the moves between {names}")


def _grasp(case: Case, notes: Sequence[Note]) -> Conflict:
    names = ", ".join(n.pitch.label for n in notes)
    told = {"H1": "two hands have not enough fingers for",
            "H2": "two hands do not span", "H3": "no hand reaches all of"}
    return Conflict("hands", tuple(notes), f"{told[fault(notes, case.player)]} {names}")
