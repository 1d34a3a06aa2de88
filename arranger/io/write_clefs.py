"""Clefs of a harp part: they follow the register of what is written on each staff.

A staff is cut into cells at its bar lines and at the onsets no beam runs over. Each cell is read
in the treble or the bass clef; ledger lines and changes have a price, and so has another clef than
the source's. What is written so is its own best answer, so a draft keeps its clefs.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from lxml import etree

from arranger.io.write_divisions import Ticks, divisions_by_measure, length, placed
from arranger.io.write_events import Event, events, pitch_of, streams
from arranger.io.write_order import detach, element, put
from arranger.search.states import cheapest_states

Clef = tuple[str, str]  # sign, line
Place = tuple[int, Fraction]  # measure from 0, quarter notes from its start

TREBLE: Clef = ("G", "2")
BASS: Clef = ("F", "4")
#: Diatonic places of the outer lines: E4 to F5, G2 to A3.
_LINES = {TREBLE: (30, 38), BASS: (18, 26)}
# Prices (assumptions): ledger lines by their number; a clef change at all, one where the source
# has none, each dearer inside a bar; a note read in another clef than the source's; one of the
# right hand read in the bass clef.
_LEDGERS = (0, 1, 2, 5, 13, 30, 48)
_CHANGE = {True: 4, False: 6}
_NEW = {True: 8, False: 10}
_UNLIKE = 1
_ODD = 1
_NOWHERE = 1 << 20  # no note there of a voice at home on the staff, to write a clef before


@dataclass(slots=True)
class _Staff:
    """One staff: what is written at each place, where no clef may come, the clefs of the source."""

    name: str
    cells: dict[Place, list[int]] = field(default_factory=dict)
    barred: set[Place] = field(default_factory=set)
    heads: dict[Place, etree._Element] = field(default_factory=dict)
    clefs: dict[Place, list[etree._Element]] = field(default_factory=dict)


def write_clefs(part: etree._Element) -> None:
    """Give both staves of the part the clefs that suit their notes, treble and bass only."""
    measures = part.findall("measure")
    if not measures:
        return
    for staff in (_Staff("1"), _Staff("2")):
        _read(part, staff)
        _write(measures, staff, _plan(staff))


def _read(part: etree._Element, staff: _Staff) -> None:
    lines = _octave_lines(part, staff.name)
    for index, (measure, divisions) in enumerate(divisions_by_measure(part)):
        places: dict[Place, Ticks] = {(index, Fraction(0)): 0}
        staff.cells[index, Fraction(0)] = []
        homes: dict[tuple[int, str], str] = {}
        found = events(measure)
        for event in found:
            home = homes.setdefault((event.run, event.voice), event.staff)
            if event.staff != staff.name or event.rest:
                continue
            place = (index, event.onset / divisions)
            places[place] = event.onset
            up = sum(line.steps for line in lines if line.first <= place < line.last)
            staff.cells.setdefault(place, []).extend(
                pitch.position + up for note in event.notes if (pitch := pitch_of(note)))
            if home == staff.name:
                staff.heads.setdefault(place, event.head)
        beams = {beam for stream in streams(found) for beam in _beams(stream, staff.name)}
        staff.barred |= {place for place, at in places.items() if any(
            first < at <= last for first, last in beams)}
        _read_clefs(measure, index, divisions, staff)
    struck = sorted(place for place, heads in staff.cells.items() if heads)
    for line in lines:
        if line.first < line.last and bisect_left(struck, line.first) == bisect_left(
                struck, line.last):
            _drop_line(line)


def _beams(stream: Sequence[Event], staff: str) -> Iterator[tuple[Ticks, Ticks]]:
    """First and last onset of each beam on this staff."""
    group: list[Event] = []
    for event in stream:
        beam = (event.head.findtext("beam") or "").strip()
        if beam == "begin" or not (beam or event.rest):
            group = []
        if beam and event.staff == staff:
            group.append(event)
            yield group[0].onset, event.onset


@dataclass(frozen=True, slots=True)
class _OctaveLine:
    """An 8va or 8vb line: between its ends notes are written ``steps`` above their sound."""

    first: Place
    last: Place
    steps: int
    signs: tuple[etree._Element, etree._Element]


def _octave_lines(part: etree._Element, staff: str) -> list[_OctaveLine]:
    found: list[_OctaveLine] = []
    begun: dict[str, tuple[Place, etree._Element]] = {}
    for index, (measure, divisions) in enumerate(divisions_by_measure(part)):
        for at, child in placed(measure):
            if child.tag == "direction" and (child.findtext("staff") or "1").strip() == staff:
                for sign in child.iterfind("direction-type/octave-shift"):
                    number, kind = sign.get("number", "1"), sign.get("type")
                    if kind in ("up", "down"):
                        begun[number] = ((index, at / divisions), sign)
                    elif kind == "stop" and number in begun:
                        first, start = begun.pop(number)
                        steps = int(start.get("size", "8")) - 1
                        found.append(_OctaveLine(first, (index, at / divisions), steps if
                                                 start.get("type") == "up" else -steps,
                                                 (start, sign)))
    return found


def _drop_line(line: _OctaveLine) -> None:
    """Take out an octave line whose notes have all left the staff."""
    for sign in line.signs:
        kind = sign.getparent()
        assert kind is not None
        direction = kind.getparent()
        assert direction is not None
        detach(sign)
        if len(kind) == 0:
            detach(kind)
        if direction.find("direction-type") is None:
            detach(direction)


def _read_clefs(measure: etree._Element, index: int, divisions: Fraction, staff: _Staff) -> None:
    """Note the clefs of the source; one at the end of a bar counts for the next."""
    _, furthest = length(measure)
    for at, child in placed(measure):
        if child.tag == "attributes":
            late = at > 0 and at == furthest
            place = (index + 1, Fraction(0)) if late else (index, at / divisions)
            for clef in child.findall("clef"):
                if clef.get("number", "1") == staff.name:
                    staff.clefs.setdefault(place, []).append(clef)


def _kind(clef: etree._Element) -> Clef | None:
    """Treble or bass; None for every other clef, also one that sounds an octave away."""
    sign = (clef.findtext("sign") or "").strip()
    kind = (sign, (clef.findtext("line") or {"G": "2", "F": "4"}.get(sign, "")).strip())
    plain = int(clef.findtext("clef-octave-change") or 0) == 0
    return kind if plain and kind in _LINES else None


def _plan(staff: _Staff) -> dict[Place, Clef]:
    """Return the clef at every place where one is to stand: the first, and each change."""
    places = sorted({*staff.cells, *staff.clefs})
    given: Clef | None = None
    source: dict[Place, Clef | None] = {}
    turns: set[tuple[Place, Clef]] = set()
    cells: list[list[Place]] = []
    for place in places:
        for clef in staff.clefs.get(place, ()):
            kind = _kind(clef)
            if kind and kind != given:
                turns.add((place, kind))
            given = kind
        source[place] = given
        if not cells or place in staff.clefs or place[1] == 0 or place not in staff.barred:
            cells.append([])
        cells[-1].append(place)
    first = BASS if staff.name == "2" else TREBLE
    costs = [_costs(cell, staff, source, first) for cell in cells]

    def change(at: int, old: Clef, new: Clef) -> int:
        place = cells[at][0]
        if old == new:
            return 0
        line = place[1] == 0
        if (place, new) in turns:
            return _CHANGE[line]
        return _CHANGE[line] + _NEW[line] if line or place in staff.heads else _NOWHERE

    chosen = cheapest_states(costs, change)
    return {cell[0]: clef for at, (cell, clef) in enumerate(zip(cells, chosen, strict=True))
            if at == 0 or clef != chosen[at - 1]}


def _costs(cell: Sequence[Place], staff: _Staff, source: Mapping[Place, Clef | None],
           first: Clef) -> dict[Clef, int]:
    given = source[cell[0]] or first
    costs = {}
    struck = [(place, staff.cells[place]) for place in cell if staff.cells.get(place)]
    for clef in sorted(_LINES, key=lambda c: c != given):
        low, high = _LINES[clef]
        odd = _ODD if (staff.name, clef) == ("1", BASS) else 0
        costs[clef] = sum(odd + (_UNLIKE if source[place] != clef else 0)
                          + _ledger_price(low - min(heads)) + _ledger_price(max(heads) - high)
                          for place, heads in struck)
    return costs


def _ledger_price(steps: int) -> int:
    """Price of reading a note so many steps outside the staff."""
    lines = max(0, steps) // 2
    return _LEDGERS[lines] if lines < len(_LEDGERS) else _LEDGERS[-1] * (lines - 4)


def _write(measures: Sequence[etree._Element], staff: _Staff, plan: Mapping[Place, Clef]) -> None:
    for place, clefs in staff.clefs.items():
        kept = next((c for c in clefs if _kind(c) == plan.get(place)), None)
        for clef in clefs:
            if clef is not kept:
                _take_out(clef)
    for place, kind in plan.items():
        if not any(_kind(c) == kind for c in staff.clefs.get(place, ())):
            clef = element("clef", None, number=staff.name)
            clef.extend([element("sign", kind[0]), element("line", kind[1])])
            attributes = _attributes(measures[place[0]], staff.heads.get(place), place)
            lower = attributes.find("clef[@number='2']") if staff.name == "1" else None
            if lower is None:
                put(attributes, clef)
            else:
                lower.addprevious(clef)


def _take_out(clef: etree._Element) -> None:
    attributes = clef.getparent()
    detach(clef)
    if attributes is not None and len(attributes) == 0:
        detach(attributes)


def _attributes(measure: etree._Element, head: etree._Element | None,
                place: Place) -> etree._Element:
    """Return the ``<attributes>`` of a place, made where there are none."""
    made = element("attributes")
    if place[1] > 0 and head is not None:
        while (before := head.getprevious()) is not None and before.find("grace") is not None:
            head = before
        before = head.getprevious()
        if before is not None and before.tag == "attributes":
            return before
        head.addprevious(made)
        return made
    for at, child in enumerate(measure):
        if child.tag == "attributes":
            return child
        if child.tag not in ("print", "barline"):
            measure.insert(at, made)
            return made
    measure.append(made)
    return made
