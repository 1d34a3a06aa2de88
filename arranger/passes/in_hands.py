"""Hands and fingers of a draft: what is asked of them, and what they were found to do."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import partial

from arranger.model.draft import Draft, HarpNote
from arranger.model.ledger import Alteration, Drop, OctaveShift
from arranger.model.pitch import Pitch
from arranger.model.score import NoteId
from arranger.passes.settings import Settings
from arranger.plan.exposure import beyond_leaps, exposed, resting
from arranger.plan.hand_options import Tone
from arranger.plan.hand_search import Scene
from arranger.plan.pedal_path import Ways
from arranger.plan.pinned import pinned_tone
from arranger.plan.recall import Recall
from arranger.plan.roles import Role
from arranger.plan.slices import Slice, in_order
from arranger.plan.universe import Choice
from arranger.plan.worth import worth

STAGE = "hands"
_EPS = 1e-6


def set_scene(draft: Draft, parts: tuple[Slice, ...], ways: tuple[tuple[Ways, ...], ...],
              ends: tuple[tuple[float, ...], ...], part_roles: Mapping[NoteId, Role],
              settings: Settings, recall: Recall) -> Scene:
    """What the hands are asked to do with these slices.

    ``recall``: of the same slices under other pins.
    """
    asked = (tuple(settings.pins.of(n.id) for n in s.notes) for s in parts)
    pins = tuple(recall.same(("pins", row), row) for row in asked)
    thin = recall.get("exposed", lambda: exposed(parts))
    rests = recall.get("rests", lambda: resting(parts))
    takes = recall.get("beyond leaps", lambda: beyond_leaps(
        parts, rests, settings.player.span_steps))
    tones = tuple(recall.get(("tones", at, pins[at]), partial(
        _tones, part, part_roles, thin[at], (rests[at], takes[at]), settings))
        for at, part in enumerate(parts))
    places = frozenset(s.position for s in settings.harp.strings if s not in draft.plan.fixed)
    return Scene(parts, ways, ends, tones, places, pins, settings.universe,
                 settings.harp.wire_top.position)


def _tones(here: Slice, part_roles: Mapping[NoteId, Role], thin: bool, free: tuple[str, str],
           settings: Settings) -> tuple[Tone | None, ...]:
    """``free``: the hand that rests here, and the one that had better take it all ("": none)."""
    return tuple(None if n.source.grace else
                 _tone(n, part_roles[n.id], here, thin, free, settings) for n in here.notes)


def _tone(note: HarpNote, role: Role, here: Slice, thin: bool, free: tuple[str, str],
          settings: Settings) -> Tone:
    length = note.source.duration
    roll = (not note.source.marks & {"staccato", "staccatissimo", "non-arpeggiate"}
            and len(here.notes) >= 3 and length >= 1)
    rests, takes = free
    tone = Tone(pitch=note.pitch, hand=takes or note.hand,
                drop=worth(note, role, settings.prices).drop,
                fixed=bool(role.tune or role.bass), roll=roll, rolled=note.rolled,
                chord=note.source.chord, exposed=thin, moving=length < 1,
                idle=len(here.notes) > 1 and rests not in ("", note.hand), tune=bool(role.tune),
                loud=("loud" in note.source.marks
                      and note.pitch.position <= settings.harp.wire_top.position),
                shifts=tuple(shift for shift in (-1, 1)
                             if role.floor < note.pitch.midi + 12 * shift < role.ceiling))
    return pinned_tone(tone, settings.pins.of(note.id))


def loss_reasons(parts: Sequence[Slice], at: int, part_roles: Mapping[NoteId, Role],
                 settings: Settings) -> list[Alteration]:
    """Entry for every note of a slice, in case the hands must leave it out."""
    return [Alteration(Drop(n.id), *_loss(n, at, parts, part_roles[n.id], settings))
            for n in parts[at].notes]


def _loss(note: HarpNote, at: int, parts: Sequence[Slice], role: Role,
          settings: Settings) -> tuple[str, str, str]:
    here, limit = parts[at], settings.player.restrike_error_seconds
    for other in (at - 1, at + 1, at - 2, at + 2):
        if 0 <= other < len(parts):
            gap = abs(parts[other].seconds - here.seconds)
            if gap < limit - _EPS and any(n.pitch.midi == note.pitch.midi
                                          for n in parts[other].notes):
                return "R1", STAGE, (f"{note.pitch.label}: the same string sounds {gap:.2f} s "
                                     f"away; a finger needs {limit:.2f} s to pluck it again")
    most = 2 * settings.player.fingers_per_hand
    if len(here.notes) > most:
        return "H1", STAGE, (f"{role.word} {note.pitch.label}: {len(here.notes)} strings at once, "
                             f"two hands have {most} fingers")
    return "H2", STAGE, (f"{role.word} {note.pitch.label}: no hand can hold it with the rest of "
                         f"the chord")


def put_in_hands(draft: Draft, parts: Sequence[Slice], picked: Sequence[Choice]) -> Draft:
    """Apply hands, fingers, rolls and octaves to a draft whose notes are on their strings."""
    of = {n.id: (t, i) for t, s in enumerate(parts) for i, n in enumerate(s.notes)}
    moved: dict[tuple[int, int], Pitch] = {(t, i): p for t, c in enumerate(picked)
                                           for i, p in c.octaves}
    made: list[Alteration] = []
    kept: list[HarpNote] = []
    for note in draft.notes:
        if note.source.grace:
            continue
        place = of[note.id]
        pitch = moved.get(place, note.pitch)
        if pitch != note.pitch:
            made.append(Alteration(OctaveShift(note.id, pitch), "H2", STAGE,
                                   f"{note.pitch.label} lies outside both hands' grip"))
        choice = picked[place[0]]
        for hand, grip in (("L", choice.left), ("R", choice.right)):
            if grip is not None and pitch.position in grip.strings:
                finger = grip.fingers[grip.strings.index(pitch.position)]
                kept.append(replace(note, pitch=pitch, hand=hand, finger=finger,
                                    rolled=grip.rolled))
    onsets = [n.onset for n in kept]  # in order, as the notes of a draft are
    graces = [_follow(n, kept, onsets) for n in draft.notes if n.source.grace]
    return replace(draft, notes=tuple(in_order((*kept, *graces))), ledger=draft.ledger.plus(*made))


def _follow(grace: HarpNote, kept: Sequence[HarpNote], onsets: Sequence[Fraction]) -> HarpNote:
    """Give a grace note to the hand of the nearest note it leans on, or comes after."""
    end = bisect_right(onsets, grace.onset)
    if not end:
        return grace
    near = kept[bisect_left(onsets, onsets[end - 1]):end]
    own = [n for n in near if n.source.staff == grace.source.staff] or near
    lean = min(own, key=lambda n: (abs(n.pitch.midi - grace.pitch.midi), n.id))
    return replace(grace, hand=lean.hand, rolled=False, finger=None)
