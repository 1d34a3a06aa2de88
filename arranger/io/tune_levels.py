"""Of several players' dynamics those of the player who has the tune: one player needs one level."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from fractions import Fraction

from lxml import etree

from arranger.io.harp_signs import LEVELS, level_of, offset_of, take_out
from arranger.io.write_divisions import Ticks, divisions_by_measure, duration, number, placed
from arranger.io.write_events import pitch_of
from arranger.io.write_order import drop, element, put

_HAIRPIN = ("crescendo", "diminuendo")


@dataclass(slots=True)
class _Line:
    """What a part has in one bar: its mean pitch (None if silent), the end of its last note."""

    height: float | None = None
    first: Ticks = 0
    end: Ticks = 0
    signs: list[tuple[Ticks, etree._Element]] = field(default_factory=list)
    wedges: list[Ticks] = field(default_factory=list)


def keep_tune_levels(parts: Sequence[etree._Element], tune: Collection[str] = ()) -> None:
    """Take out the levels (*p*, *mf*) of parts beside a tune that has its own.

    Where the tune passes to another part after the first falls silent, the level that part has
    is written again if it differs.

    Parameters
    ----------
    parts : of one score, from the top, with equal divisions; bars correspond by index.
    tune : ids of the parts that are said to hold the tune; else it is the highest, which keeps it
        until another is higher for two bars.
    """
    for part in parts:
        for measure, divisions in divisions_by_measure(part):
            _settle(measure, divisions)
    bars = _bars(parts)
    stated = {k for k, part in enumerate(parts) if part.get("id") in tune}
    levels: dict[int, str] = {}  # level in force of each part; "" after a hairpin
    shown, leader = "", None
    for index, lines in enumerate(bars):
        before, leader = leader, _leader(bars, index, leader, stated)
        signs = sorted(((at, k, sign) for k, line in enumerate(lines) for at, sign in line.signs),
                       key=lambda s: (s[0], s[1] != leader, -(lines[s[1]].height or 0)))
        if (leader is not None and before is not None and leader != before
                and lines[before].height is None and levels.get(leader, shown) not in ("", shown)
                and not any(at <= lines[leader].first for at, *_ in signs)):
            shown = levels[leader]
            _say(parts[leader], index, shown)
        taken: set[Ticks] = set()
        for at, k, sign in signs:
            levels[k] = level_of(sign) if level_of(sign) in LEVELS else levels.get(k, "")
            own = leader is None or k == leader or leader not in levels \
                or at >= lines[leader].end
            if at in taken or (not own and level_of(sign) in LEVELS):
                take_out(sign)
                continue
            taken.add(at)
            shown = level_of(sign) if level_of(sign) in LEVELS else shown
        for k, line in enumerate(lines):
            if line.wedges and max(line.wedges) >= max((at for at, _ in line.signs), default=-1):
                levels[k] = ""


def _settle(measure: etree._Element, divisions: Fraction) -> None:
    """Let dynamics stand at the note they belong to: some files set them a hair beside it.

    That is the nearest note struck, the earlier of two, within a sixteenth.
    """
    timed = list(placed(measure))
    struck = sorted({at for at, child in timed if child.tag == "note" and pitch_of(child)})
    for at, child in timed:
        if child.tag == "direction" and child.find("direction-type/dynamics") is not None:
            meant = at + offset_of(child)
            near = min(struck, key=lambda s: abs(s - meant), default=meant)
            if 0 < abs(near - meant) <= divisions / 4:
                drop(child, "offset")
                if near != at:
                    put(child, element("offset", number(near - at)))


def _bars(parts: Sequence[etree._Element]) -> list[list[_Line]]:
    measures = [part.findall("measure") for part in parts]
    return [[_line(own[index]) if index < len(own) else _Line() for own in measures]
            for index in range(max(map(len, measures), default=0))]


def _line(measure: etree._Element) -> _Line:
    line = _Line()
    sum_of = weight = 0.0
    for at, child in placed(measure):
        if child.tag == "note" and (pitch := pitch_of(child)) is not None:
            line.first = at if not weight else min(at, line.first)
            line.end = max(line.end, at + duration(child))
            long = float(duration(child))
            sum_of, weight = sum_of + pitch.midi * long, weight + long
        elif child.tag == "direction":
            meant = at + offset_of(child)
            line.signs += [(meant, s) for s in child.iterfind("direction-type/dynamics")]
            line.wedges += [meant for w in child.iterfind("direction-type/wedge")
                            if w.get("type") in _HAIRPIN]
    line.height = sum_of / weight if weight else None
    return line


def _leader(bars: Sequence[Sequence[_Line]], index: int, before: int | None,
            stated: Collection[int]) -> int | None:
    """Return the part that has the tune in a bar, or None where all are silent."""
    now = _highest(bars[index], stated)
    if before is None or now is None or now == before or bars[index][before].height is None:
        return now if now is not None else before
    if stated and before not in stated:
        return now
    after = _highest(bars[index + 1], stated) if index + 1 < len(bars) else now
    return now if now == after else before


def _highest(lines: Sequence[_Line], stated: Collection[int]) -> int | None:
    heights = {k: line.height for k, line in enumerate(lines) if line.height is not None}
    told = {k: height for k, height in heights.items() if k in stated} or heights
    return max(told, key=lambda k: told[k], default=None)


def _say(part: etree._Element, index: int, level: str) -> None:
    """Write a level before the first note that is struck in a bar."""
    measure = part.findall("measure")[index]
    note = next(note for note in measure.findall("note") if pitch_of(note) is not None)
    said = etree.Element("direction", placement="below")
    etree.SubElement(etree.SubElement(etree.SubElement(said, "direction-type"), "dynamics"), level)
    said.extend(deepcopy(staff) for staff in note.findall("staff"))
    measure.insert(measure.index(note), said)
