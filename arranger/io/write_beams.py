"""Beams mended after notes were left out: no beam begins or ends at a rest, none stands alone.

Notes that left beamed chords for the other staff are beamed there.
"""

from __future__ import annotations

from fractions import Fraction

from lxml import etree

from arranger.io.write_beat_beams import beam
from arranger.io.write_divisions import Ticks
from arranger.io.write_events import Event, Patch, events, pitch_of, streams
from arranger.io.write_order import drop, element, put
from arranger.model.score import Measure

Group = list[Event]

_STEMLESS = ("", "whole", "breve", "long", "maxima")


def repair_beams(measure: etree._Element, patch: Patch, bar: Measure, divisions: Ticks) -> None:
    """Mend the beams that touch fresh rests; let stems be found anew where notes moved.

    ``divisions`` of a quarter note.
    What has gone to a staff on which another voice sounds turns its stems away from that voice:
    up above the left hand's, down below the right hand's. A voice that had the staff to itself
    turns its own away in the same manner. A beam whose notes are in both hands now lies between
    the staves, but stays outside them where it is turned away from another voice.
    """
    found = events(measure)
    here = [e for e in found if not e.rest]
    for stream in streams(found):
        beam([(Fraction(e.onset) / divisions, Fraction(e.length) / divisions, e.head)
              for e in stream if e.head in patch.unbeamed and not e.grace
              and e.head.find("beam") is None], bar)
        groups = _groups(stream)
        for group in groups:
            alive = [e for e in group if e.head not in patch.doomed]
            if len(alive) < len(group) or any(e.head in patch.rests for e in group):
                _mend(alive)
        alone = [[e] for e in stream if e.head.find("beam") is None]
        for group in (*groups, *alone):
            if any(n in patch.restem for e in group for n in e.notes):
                if not _stays_outside(group, found, patch):
                    _turn_stems([e for e in group if not e.rest], here, patch)
            elif not any(e.rest for e in group):
                _make_room(group, here, patch)


def _make_room(group: Group, here: list[Event], patch: Patch) -> None:
    """Turn the stems of a voice that stayed away from what has come to its staff beyond it."""
    staff = group[0].staff
    beside = [e for e in here if e.staff == staff and not e.grace and (
        e.run, e.voice) != (group[0].run, group[0].voice)
        and e.onset < group[-1].end and group[0].onset < e.end]
    if (not beside or any(n not in patch.arrived for e in beside for n in e.notes)
            or any(e.staff != staff or e.grace or e.rhythm[0] in _STEMLESS for e in group)):
        return
    mine, theirs = ([p.position for e in found for n in e.notes if (p := pitch_of(n))]
                    for found in (group, beside))
    if not (max(theirs) < min(mine) if staff == "1" else max(mine) < min(theirs)):
        return
    for note in (n for event in group for n in event.notes):
        drop(note, "stem")
        put(note, element("stem", "up" if staff == "1" else "down"))


def _stays_outside(group: Group, found: list[Event], patch: Patch) -> bool:
    """Tell whether a voice above another, some of whose notes went below both, is read on above.

    And so for the lower voice of the lower staff.
    """
    struck = [e for e in group if not e.rest]
    homes = {e.staff for e in struck if e.head not in patch.arrived}
    if len(homes) != 1 or len({e.staff for e in struck}) != 2:
        return False
    (home,) = homes
    away = "up" if home == "1" else "down"
    return all(e.head.findtext("stem") == away for e in struck) and any(
        o.staff == home and (o.run, o.voice) != (group[0].run, group[0].voice) and not o.grace
        and o.head.get("print-object") != "no"
        and o.onset < group[-1].end and group[0].onset < o.end for o in found)


def _turn_stems(group: Group, here: list[Event], patch: Patch) -> None:
    for note in (n for event in group for n in event.notes):
        drop(note, "stem")
    staves = {e.staff for e in group}
    if len(staves) != 1 or any(n not in patch.arrived for e in group for n in e.notes) or any(
            e.grace or e.rhythm[0] in _STEMLESS for e in group):
        return
    (staff,) = staves
    start, end = group[0].onset, group[-1].end
    if any(o.staff == staff and o.onset < end and start < o.end and (o.run, o.voice) != (
            group[0].run, group[0].voice) for o in here):
        for event in group:
            for note in event.notes:
                put(note, element("stem", "up" if staff == "2" else "down"))


def _groups(stream: list[Event]) -> list[Group]:
    """Return the beamed groups of a stream; rests inside a beam belong to it."""
    found: list[Group] = []
    group: Group = []
    for event in stream:
        state = _beam(event, "1")
        if state == "begin":
            group = [event]
        elif group:
            group.append(event)
            if state == "end":
                found.append(group)
                group = []
    return found


def _beam(event: Event, level: str) -> str:
    for sign in event.head.findall("beam"):
        if sign.get("number", "1") == level:
            return (sign.text or "").strip()
    return ""


def _mend(group: Group) -> None:
    """Write the beams of a group anew over the notes that are left of it.

    Secondary beams keep their breaks: a run of the source is cut at rests, a single note keeps
    a hook.
    """
    levels = sorted({b.get("number", "1") for e in group for b in e.head.findall("beam")})
    struck = [e for e in group if not e.rest]
    wanted: dict[tuple[int, str], str] = {}
    if len(struck) > 1:
        for level in levels:
            wanted |= _level(group, struck, level)
    for at, event in enumerate(group):
        drop(event.head, "beam")
        for level in levels:
            state = wanted.get((at, level))
            if state:
                put(event.head, element("beam", state, number=level))


def _level(group: Group, struck: list[Event], level: str) -> dict[tuple[int, str], str]:
    if level == "1":
        at = [group.index(e) for e in struck]
        return {(i, level): "begin" if i == at[0] else "end" if i == at[-1] else "continue"
                for i in at}
    wanted: dict[tuple[int, str], str] = {}
    run: list[int] = []

    def close() -> None:
        if len(run) == 1:
            first = group[run[0]] is struck[0]
            wanted[run[0], level] = "forward hook" if first else "backward hook"
        elif run:
            wanted.update({(i, level): "continue" for i in run})
            wanted[run[0], level], wanted[run[-1], level] = "begin", "end"
        run.clear()

    for place, event in enumerate(group):
        state = _beam(event, level)
        if event.rest or not state or state in ("begin", "forward hook", "backward hook"):
            close()
        if state and not event.rest:
            run.append(place)
        if state == "end" or "hook" in state:
            close()
    close()
    return wanted
