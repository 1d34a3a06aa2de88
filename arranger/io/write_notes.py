"""The notes of a measure as the draft has them: left out, on another pitch, in the other hand."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass

from lxml import etree

from arranger.io.write_events import STAFF, Event, Patch, events, pitch_of
from arranger.io.write_order import (
    detach,
    drop,
    element,
    forget,
    notations,
    prune_notations,
    put,
    set_text,
)
from arranger.model.draft import HarpNote
from arranger.model.pitch import Pitch

#: Notations of the whole chord, written at its head.
_OF_CHORD = ("slur", "tuplet", "fermata", "articulations", "dynamics", "other-notation")
_REST_KEEPS = ("slur", "tuplet", "fermata", "dynamics")
_OF_PITCH = ("pitch", "unpitched", "chord", "tie", "accidental", "stem", "notehead",
             "notehead-text", "play")
_FAR = 3  # diatonic steps after which a stem direction is worth finding anew (assumption)


@dataclass(frozen=True, slots=True)
class Moved:
    """Notes that left their chord for the other staff.

    ``event`` is the chord as it was, ``home`` the head of what stays of it.
    """

    notes: tuple[etree._Element, ...]
    event: Event
    home: etree._Element
    voice: str
    staff: str


def patch_measure(measure: etree._Element, patch: Patch) -> list[Moved]:
    """Drop and repitch notes in place; return the parts of chords that go to the other staff."""
    moved: list[Moved] = []
    for event in events(measure):
        if any(note in patch.fate for note in event.notes):
            left = _patch_event(event, patch)
            if left is not None:
                moved.append(left)
    return moved


def _patch_event(event: Event, patch: Patch) -> Moved | None:
    kept = [n for n in event.notes if patch.fate.get(n, n) is not None]
    voice = event.voice
    if not kept:
        for member in event.notes[1:]:
            detach(member)
        if event.grace:
            patch.doomed.add(event.head)
        else:
            make_rest(event.head)
            patch.rests.add(event.head)
        return None
    target = {n: _staff(patch.fate.get(n), event) for n in kept}
    home = event.staff if event.staff in target.values() else target[kept[0]]
    stay = [n for n in kept if target[n] == home]
    leave = [n for n in kept if target[n] != home]
    if stay[0] is not event.head:
        _make_head(stay[0], event.head, event.head in leave)
    for note in event.notes:
        if note not in stay:
            detach(note)
    for note in kept:
        _set_pitch(note, patch)
    for note in stay:
        set_staff(note, home, patch)
    return Moved(tuple(leave), event, stay[0], voice, target[leave[0]]) if leave else None


def _staff(note: HarpNote | None, event: Event) -> str:
    return event.staff if note is None else STAFF[note.hand]


def make_rest(note: etree._Element) -> None:
    """Turn a note into a rest of the same value; tuplets and fermatas stay, slurs for repair."""
    drop(note, *_OF_PITCH)
    put(note, element("rest"))
    for group in note.findall("notations"):
        for sign in list(group):
            if sign.tag not in _REST_KEEPS:
                group.remove(sign)
    prune_notations(note)
    forget(note, "default-y", "relative-y", "dynamics", "print-leger")


def _make_head(note: etree._Element, old: etree._Element, old_lives: bool) -> None:
    """Let a chord member take over from the head that goes."""
    drop(note, "chord")
    if note.find("beam") is None:
        for beam in old.findall("beam"):
            put(note, beam)
    drop(old, "beam")
    for lyric in old.findall("lyric"):
        put(note, lyric)
    for group in old.findall("notations"):
        for sign in list(group):
            tremolo = sign.tag == "ornaments" and sign.find("tremolo") is not None
            if sign.tag in _OF_CHORD or (tremolo and not old_lives):
                notations(note).append(sign)
    prune_notations(old)


def _set_pitch(note: etree._Element, patch: Patch) -> None:
    plan, before = patch.fate.get(note), pitch_of(note)
    if plan is None or before is None or plan.pitch == before:
        return
    patch.repitched.add(note)
    if abs(plan.pitch.position - before.position) >= _FAR:
        patch.restem.add(note)
    write_pitch(note, plan.pitch)


def write_pitch(note: etree._Element, pitch: Pitch) -> None:
    """Put a pitch into a note that has one."""
    place = note.find("pitch")
    if place is None:
        raise ValueError("a rest cannot be given a pitch")
    drop(place, "alter")
    set_text(place, "step", pitch.step)
    set_text(place, "octave", str(pitch.octave))
    if pitch.alter:
        put(place, element("alter", str(pitch.alter)))
    forget(note, "default-y")


def set_staff(note: etree._Element, staff: str, patch: Patch) -> None:
    """Write the staff of a note."""
    if (note.findtext("staff") or "1").strip() != staff:
        patch.restem.add(note)
        patch.arrived.add(note)
        forget(note, "default-y")
        for sign in note.iterfind("notations/*"):
            forget(sign, "placement", "orientation")
    set_text(note, "staff", staff)


def bare(note: etree._Element) -> None:
    """Leave a note only what is its own: no beam, slur, tuplet or lyric of the chord."""
    drop(note, "chord", "beam", "lyric")
    for group in note.findall("notations"):
        for sign in list(group):
            if sign.tag in _OF_CHORD:
                group.remove(sign)
    prune_notations(note)


def share_signs(source: etree._Element, target: etree._Element) -> None:
    """Copy articulations and fermata of a chord to the half of it that stands alone now."""
    for path in ("notations/articulations", "notations/fermata"):
        sign = source.find(path)
        if sign is not None:
            notations(target).append(deepcopy(sign))
