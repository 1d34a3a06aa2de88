"""Beams mended after notes were left out: no beam begins or ends at a rest, none stands alone."""

from __future__ import annotations

from lxml import etree

from arranger.io.write_events import Event, Patch, streams
from arranger.io.write_order import drop, element, put

Group = list[Event]


def repair_beams(measure: etree._Element, patch: Patch) -> None:
    """Mend the beams that touch fresh rests; let stems be found anew where notes moved."""
    for stream in streams(measure):
        for group in _groups(stream):
            alive = [e for e in group if e.head not in patch.doomed]
            if len(alive) < len(group) or any(e.head in patch.rests for e in group):
                _mend(alive)
            if any(n in patch.restem for e in group for n in e.notes):
                for event in group:
                    for note in event.notes:
                        drop(note, "stem")
        for event in stream:
            if event.head.find("beam") is None and any(n in patch.restem for n in event.notes):
                for note in event.notes:
                    drop(note, "stem")


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
    for beam in event.head.findall("beam"):
        if beam.get("number", "1") == level:
            return (beam.text or "").strip()
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
