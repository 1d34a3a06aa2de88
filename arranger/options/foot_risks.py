"""What is hard for the feet, what rings into a pedal move, and what had to be altered."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise

from arranger.model.draft import Draft, HarpNote, PedalMove
from arranger.model.harp import HarpString, pedal_word
from arranger.model.ledger import Add, Drop, Merge
from arranger.model.score import NoteId
from arranger.options.risk import Risk
from arranger.passes.settings import Settings
from arranger.passes.start import start
from arranger.plan.ring import AUDIBLE, level_of
from arranger.plan.roles import roles
from arranger.plan.slices import clock
from arranger.plan.worth import worth

#: Notes in order, by letter; without those on strings that have no disc.
Letters = dict[str, list[HarpNote]]

#: Quarter notes from a lost note within which another may stand in its way (assumption).
_NEAR = Fraction(2)
_STRING = {-1: "flat", 0: "natural", 1: "sharp"}


def foot_risks(draft: Draft, settings: Settings) -> list[Risk]:
    """Two-notch moves, moves of one foot in a hurry, and moves on strings that still sound."""
    found = []
    letters: Letters = defaultdict(list)
    for note in draft.notes:
        if note.string not in draft.plan.fixed:
            letters[note.pitch.step].append(note)
    for move in draft.plan.moves:
        found += [*_two_notches(letters, move, settings),
                  *_ringing(draft, letters, move, settings)]
    for foot in "RL":
        mine = [m for m in draft.plan.moves if m.foot == foot]
        for one, two in pairwise(mine):
            found += _hurry(letters, one, two, settings)
    return found


def _users(letters: Letters, move: PedalMove) -> tuple[HarpNote, ...]:
    """The first notes that need the new position, and the last that needed the old."""
    own = letters[move.pedal]
    later = bisect_left(own, move.onset, key=_onset)
    after = next((n.onset for n in own[later:] if n.pitch.alter == move.after), None)
    first = [n for n in own[later:] if n.onset == after and n.pitch.alter == move.after]
    passed = own[:bisect_right(own, move.onset, key=_onset)]
    before = next((n.onset for n in reversed(passed) if n.pitch.alter == move.before), None)
    last = [n for n in passed if n.onset == before and n.pitch.alter == move.before]
    return (*first, *last)


def _onset(note: HarpNote) -> Fraction:
    return note.onset


def _made(kind: str, weight: float, move: PedalMove, notes: Sequence[HarpNote],
          told: str, *also: PedalMove) -> Risk:
    onset = min((n.onset for n in notes if n.onset >= move.onset), default=move.onset)
    form = (kind, *((m.pedal, m.before, m.after) for m in (move, *also)))
    return Risk(kind, max(1, round(weight)), onset, tuple(n.id for n in notes), told, form)


def _two_notches(letters: Letters, move: PedalMove, settings: Settings) -> Iterator[Risk]:
    if move.notches == 2:
        yield _made("two-notch", settings.prices["notch"] * 2 + settings.prices["crowd"], move,
                    _users(letters, move),
                    f"the {move.pedal} pedal passes the natural notch on its way from "
                    f"{_STRING[move.before]} to {_STRING[move.after]}: the foot may stop there")


def _hurry(letters: Letters, one: PedalMove, two: PedalMove, settings: Settings) -> Iterator[Risk]:
    wait = two.seconds - one.seconds
    calm = settings.player.foot_sustained_seconds
    if wait < calm - 1e-6:
        notes = (*_users(letters, two), *_users(letters, one))
        foot = "left" if two.foot == "L" else "right"
        yield _made("crowd", settings.prices["crowd"] * (2 - wait / calm), two, notes,
                    f"the {foot} foot moves {pedal_word(one.pedal, one.after)} and "
                    f"{pedal_word(two.pedal, two.after)} within {max(wait, 0):.2f} s", one)


def _ringing(draft: Draft, letters: Letters, move: PedalMove,
             settings: Settings) -> Iterator[Risk]:
    """Strings of the letter that still sound at the old pitch, undamped, when the pedal moves."""
    struck: dict[HarpString, HarpNote] = {}
    own = letters[move.pedal]
    for note in own[:bisect_left(own, move.onset, key=_onset)]:
        struck[note.string] = note
    damped = {n.id for d in draft.damps if d.onset <= move.onset for n in d.notes}
    worst, loud = None, AUDIBLE
    for note in (n for n in struck.values() if n.id not in damped):
        began = clock(draft.source.tempo, [note.onset])[0]
        left = level_of(note.pitch.midi, move.seconds - began)
        if note.pitch.alter == move.before and left > loud:
            worst, loud = note, left
    if worst is None:
        return
    held = worst.source.end > move.onset
    first = [n for n in _users(letters, move) if n.onset >= move.onset]
    weight = (settings.prices["ring"] + settings.prices["held"] * held) * (loud - AUDIBLE)
    yield _made("ring", weight, move, (*first, worst),
                f"the {move.pedal} pedal moves while {worst.pitch.label} "
                + ("is still held" if held else "still rings"))


def losses(draft: Draft, settings: Settings) -> list[Risk]:
    """Notes that do not sound as written, each weighed by what it is to the music.

    With them the notes that stand in their way: if one of those gives way, they can stay; and what
    is lost with them of the same letter, for one decision settles both.
    """
    first = start(draft.source, draft.part)
    part_roles = roles(first.notes)
    notes = {n.id: n for n in first.notes}
    found = []
    entries = [e for e in draft.ledger.entries
               if e.fidelity != "same-sound" and e.stage != "choice"
               and not isinstance(e.edit, Add)]
    lost = [notes[e.edit.note] for e in entries]
    for entry, note in zip(entries, lost, strict=True):
        beside = [n.id for n in lost if n.id != note.id and n.onset == note.onset
                  and n.pitch.step == note.pitch.step]
        value = worth(note, part_roles[note.id], settings.prices)
        gone = isinstance(entry.edit, Drop | Merge)
        what = "is left out" if gone else "sounds another note"
        price = settings.prices["neighbours"] if isinstance(entry.edit, Merge) else (
            value.drop if gone else value.other)
        found.append(Risk("altered", price, note.onset, (note.id, *_rivals(draft, note), *beside),
                          _lost(note, what, entry.reason),
                          ("altered", entry.kind, note.pitch.midi, entry.reason)))
    return found


def _lost(note: HarpNote, what: str, reason: str) -> str:
    """Say what becomes of a note and why; a reason that begins by naming it names it once."""
    name, colon, why = reason.partition(": ")
    if colon and name.endswith(note.pitch.label):
        return f"{name} {what}: {why}"
    return f"{note.pitch.label} {what}: {reason}"


def _rivals(draft: Draft, lost: HarpNote) -> Iterator[NoteId]:
    """The nearest notes that need the string of a lost one, or its pedal elsewhere."""
    own = [n for n in draft.notes if n.pitch.step == lost.pitch.step and n.id != lost.id
           and (n.pitch.alter != lost.pitch.alter or n.string == lost.string)
           and abs(n.onset - lost.onset) <= _NEAR]
    for side in ([n for n in own if n.onset <= lost.onset], [n for n in own
                                                             if n.onset > lost.onset]):
        nearest = min((abs(n.onset - lost.onset) for n in side), default=None)
        yield from (n.id for n in side if abs(n.onset - lost.onset) == nearest)
