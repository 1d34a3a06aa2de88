"""Rests of a staff on which several voices play: one is shown where it tells something."""

from __future__ import annotations

from fractions import Fraction
from itertools import chain, count, pairwise

from lxml import etree

from arranger.io.write_divisions import Ticks, duration, length, number, step
from arranger.io.write_events import Event, Patch, events, runs, staff_of
from arranger.io.write_order import detach, element, forget, set_text

_AROUND = ("attributes", "barline", "print")


def hide_rests(measure: etree._Element, patch: Patch, beat: Fraction) -> None:
    """Hide rests that notes from the other staff have made untrue, or notes left out have made.

    A rest of the whole measure goes where anything arrived; another rest where it is covered. A
    rest in place of a note goes where another voice of the staff sounds at that moment, but for one
    that ends a beat which a note of its own voice began. ``beat``: in divisions.
    """
    here = [e for e in events(measure) if not e.grace]
    struck: dict[str, list[Event]] = {}
    for event in here:
        if not event.rest:
            struck.setdefault(event.staff, []).append(event)
    for event in here:
        if not event.rest:
            continue
        others = struck.get(event.staff, [])
        begun = event.onset % beat and any(
            o.onset <= event.onset // beat * beat and o.end == event.onset
            and (o.run, o.voice) == (event.run, event.voice) for o in others)
        if event.head in patch.rests and not begun and any(
                o.onset <= event.onset < o.end for o in others):
            event.head.set("print-object", "no")
        arrived = [o for o in others if any(n in patch.arrived for n in o.notes)]
        whole = event.head.find("rest[@measure='yes']") is not None or not any(
            e is not event and e.run == event.run and e.voice == event.voice for e in here)
        if arrived and (whole or any(o.onset <= event.onset and event.end <= o.end
                                     for o in arrived)):
            event.head.set("print-object", "no")


def hide_spare_rests(measure: etree._Element) -> None:
    """Hide the rests of a resting voice on a staff where another one plays or rests already.

    One that comes over from the other staff plays here, too. Of equal rests of two voices at one
    moment the first in the file is shown. A voice of which nothing is seen leaves the measure.
    """
    for staff in ("1", "2"):
        here = [run for run in runs(measure) if any(n.findtext("staff") == staff for n in run)]
        resting = [run for run in here if run[0].findtext("staff") == staff
                   and all(n.find("rest") is not None for n in run)]
        spare = resting[1:] if len(resting) == len(here) else resting
        for note in (n for run in spare for n in run):
            note.set("print-object", "no")
    shown: set[tuple[str, Ticks, Ticks]] = set()
    for event in events(measure):
        place = (event.staff, event.onset, event.length)
        if event.rest and event.head.get("print-object") != "no":
            if place in shown:
                event.head.set("print-object", "no")
            shown.add(place)
    _take_out_unseen(measure)


def fill_blank_staves(measure: etree._Element, bar: Ticks) -> None:
    """Show a rest on a staff on which a bar of this length shows nothing at all.

    Voices of which nothing is seen leave first, those too that were still to lose a sign before.
    """
    _take_out_unseen(measure)
    for staff in ("1", "2"):
        here = [note for note in measure.iterfind("note") if staff_of(note) == staff]
        if any(note.get("print-object") != "no" for note in here) or bar.denominator != 1:
            continue
        hidden = next((run for run in runs(measure) if run and all(note in here for note in run)
                       and all(note.find("rest") is not None for note in run)), [])
        for note in hidden:
            forget(note, "print-object")
        if not hidden and bar:
            _append_rest(measure, staff, bar)


def _append_rest(measure: etree._Element, staff: str, bar: Ticks) -> None:
    """Add a rest of the whole bar in a voice of its own, before the barline at the end."""
    taken = {note.findtext("voice") for note in measure.iterfind("note")}
    voice = next(v for v in chain(("1" if staff == "1" else "5",), map(str, count(1)))
                 if v not in taken)
    ending = [b for b in measure.findall("barline") if b.get("location", "right") == "right"]
    end, _ = length(measure)
    if end:
        etree.SubElement(measure, "backup").append(element("duration", number(end)))
    note = etree.SubElement(measure, "note")
    note.extend([element("rest", None, measure="yes"), element("duration", number(bar)),
                 element("voice", voice), element("staff", staff)])
    measure.extend(ending)


def _take_out_unseen(measure: etree._Element) -> None:
    """Take out what stands between two backups if it is hidden rests and nothing else.

    Engravers give such a voice room, and put the next clef behind its last rest. A voice that
    alone reaches the end of the bar stays.
    """
    stretches: list[list[etree._Element]] = [[]]
    ends: list[Ticks] = [0]  # how far notes and rests reach; a forward fills nothing
    at: Ticks = 0
    for child in measure:
        if child.tag == "backup":
            stretches.append([])
            ends.append(0)
        elif child.tag not in _AROUND:
            stretches[-1].append(child)
        at = max(at + step(child), 0)
        if child.tag == "note":
            ends[-1] = max(ends[-1], at)
    for which, stretch in enumerate(stretches):
        others = ends[:which] + ends[which + 1:]
        if (stretch and all(_unseen(c) for c in stretch)
                and max(others, default=-1) >= ends[which] and _joined(stretch)):
            _take_out(stretch)
            ends[which] = -1  # of two that reach the end of the bar one stays


def _unseen(child: etree._Element) -> bool:
    return (child.tag == "note" and child.get("print-object") == "no"
            and child.find("rest") is not None and child.find("notations") is None)


def _joined(notes: list[etree._Element]) -> bool:
    """Tell whether the notes stand together, with a backup before or behind them."""
    near = (_neighbour(notes[0], -1), _neighbour(notes[-1], 1))
    return any(n is not None for n in near) and all(
        one.getnext() is two for one, two in pairwise(notes))


def _neighbour(note: etree._Element, way: int) -> etree._Element | None:
    """Return the backup before or behind, past what takes no place in time."""
    found = note.getnext() if way > 0 else note.getprevious()
    while found is not None and found.tag == "barline":
        found = found.getnext() if way > 0 else found.getprevious()
    return found if found is not None and found.tag == "backup" else None


def _take_out(notes: list[etree._Element]) -> None:
    backup = _neighbour(notes[0], -1)
    if backup is None:
        backup = _neighbour(notes[-1], 1)
    assert backup is not None
    by: Ticks = duration(backup) - sum(map(step, notes))
    if by:
        backup.tag = "backup" if by > 0 else "forward"
        set_text(backup, "duration", number(max(by, -by)))
    else:
        detach(backup)
    for note in notes:
        detach(note)
