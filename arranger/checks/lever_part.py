"""A part as written on a harp with levers: what the left hand has no time to set, and the rest."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from arranger.checks.case import Case, hands_of
from arranger.checks.levers import lever_findings
from arranger.checks.marked_levers import marked_plan
from arranger.model.diagnostic import Diagnostic
from arranger.model.draft import Draft, HarpNote
from arranger.model.harp import HarpString
from arranger.model.levers import LeverMove, LeverPlan
from arranger.model.pitch import Pitch
from arranger.model.score import Note, NoteId
from arranger.plan.lever_path import lever_path, whole_opening
from arranger.plan.pedal_path import Way, Ways
from arranger.plan.slices import in_order, slices

_LOST, _GRACE_LOST = 1000, 500  # price of a note without its lever: only the ranking matters


@dataclass(frozen=True, slots=True)
class Levers:
    """The best plan for a part as spelled: levers at the start, moves, notes left unserved."""

    opening: Mapping[HarpString, int]
    moves: tuple[LeverMove, ...]
    unserved: tuple[Note, ...]


def plan_levers(case: Case) -> Levers:
    """Serve as many notes as can be with the hands found; exact.

    What no string of the harp gives, and what shares its string with another pitch struck at the
    same moment, is left to other rules.
    """
    if case.harp.mechanism != "lever":  # a string for every semitone: nothing moves
        return Levers({}, (), ())
    parts = slices(_given(case), case.score.tempo)
    ways = [[Ways((Way(n.pitch, 0),), _GRACE_LOST if n.source.grace else _LOST)
             for n in s.notes] for s in parts]
    path = lever_path(parts, ways, case.score, case.harp, case.player, case.judge.prices)
    unserved = tuple(n.source for s, row in zip(parts, path.taken, strict=True)
                     for n, way in zip(s.notes, row, strict=True) if way is None)
    opening = whole_opening(path.opening, case.harp, case.score.measures[0].fifths)
    return Levers(opening, path.moves, unserved)


def _given(case: Case) -> list[HarpNote]:
    struck: dict[tuple[object, int], set[int]] = {}
    for note in case.notes:
        struck.setdefault((note.onset, note.pitch.position), set()).add(note.pitch.alter)
    hands = hands_of(case)
    return [HarpNote(n, n.pitch, hands[n.id]) for n in (*case.notes, *case.graces)
            if case.harp.gives(n.pitch)
            and len(struck.get((n.onset, n.pitch.position), ())) < 2]


def in_time(case: Case) -> Iterator[Diagnostic]:
    """K1: a pitch whose lever cannot be moved in time."""
    for note in plan_levers(case).unserved:
        others = [n for n in case.notes if n.pitch.position == note.pitch.position
                  and n.pitch.alter != note.pitch.alter]
        near = min(others, key=lambda n: abs(n.onset - note.onset), default=None)
        if near is None:
            continue
        gap = abs(case.seconds(note.onset) - case.seconds(near.onset))
        chord = [n for n in case.notes if n.onset == note.onset]
        yield case.say(
            "K1", "error", f"{note.pitch.label} and {near.pitch.label} lie on one string, "
            f"{gap:.2f} s apart: the left hand has no moment to move the lever", (note, near),
            onset=note.onset,
            remedies=[*case.respelled(note), *case.respelled(near), *case.shifted(note, chord),
                      case.dropped(note, chord)])


def lever_draft(case: Case, pitches: Mapping[NoteId, Pitch]) -> Draft:
    """Return the part with its levers set and moved: as marked, where the marks give every note."""
    plan, hands, fingers = (_as_marked(case) or plan_levers(case), hands_of(case),
                            case.all_fingers())
    notes = tuple(in_order(
        HarpNote(n, pitches.get(n.id, n.pitch), hands.get(n.id, "R"), fingers.get(n.id),
                 "arpeggiate" in n.marks) for n in case.score.part_notes(case.part)))
    return Draft(case.score, case.part, notes, levers=LeverPlan(plan.opening, plan.moves))


def _as_marked(case: Case) -> Levers | None:
    marked = marked_plan(case)
    if marked is None:
        return None
    opening, moves = marked
    fifths = case.score.measures[0].fifths
    return Levers(whole_opening(opening, case.harp, fifths), moves, ())


def _as_draft(case: Case, code: str) -> Iterator[Diagnostic]:
    yield from (d for d in lever_findings(lever_draft(case, {}), case.harp, case.player)
                if d.code == code)


def key_beyond(case: Case) -> Iterator[Diagnostic]:
    """K2: the notes of the key cannot all be set."""
    return _as_draft(case, "K2")


def cut_short(case: Case) -> Iterator[Diagnostic]:
    """K3: a lever cuts the ring of its string."""
    return _as_draft(case, "K3")


CHECKS = {"K1": in_time, "K2": key_beyond, "K3": cut_short}
