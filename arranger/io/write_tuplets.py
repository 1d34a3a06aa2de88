"""Brackets of the tuplets of one voice, written anew."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from lxml import etree

from arranger.io.note_values import odd_part
from arranger.io.write_beat_beams import Stem
from arranger.io.write_order import element, notations


def bracket(stems: Sequence[Stem]) -> None:
    """Write start and stop of each tuplet: as many notes as its number says, up to a beat."""
    group: list[Stem] = []
    for stem in stems:
        ratio = _ratio(stem[2])
        if group and (ratio != _ratio(group[0][2]) or group[-1][0] + group[-1][1] != stem[0]):
            _close(group)
        if ratio:
            group.append(stem)
            if _complete(group, ratio[0]):
                _close(group)
    if group:
        _close(group)


def _ratio(note: etree._Element) -> tuple[int, int] | None:
    change = note.find("time-modification")
    if change is None:
        return None
    return (int(change.findtext("actual-notes") or 1), int(change.findtext("normal-notes") or 1))


def _complete(group: list[Stem], actual: int) -> bool:
    first, last = group[0], group[-1]
    whole = sum((s[1] for s in group), Fraction(0))
    ends = odd_part((last[0] + last[1]).denominator) == 1
    return ends and whole >= actual * min(s[1] for s in group) and odd_part(
        first[0].denominator) == 1


def _close(group: list[Stem]) -> None:
    first, last = group[0][2], group[-1][2]
    seen = any(s[2].get("print-object") != "no" for s in group)
    start = element("tuplet", None, type="start", bracket="no" if _beamed(group) else "yes")
    if not seen:
        start.set("show-number", "none")
        start.set("bracket", "no")
    notations(first).append(start)
    notations(last).append(element("tuplet", None, type="stop"))
    group.clear()


def _beamed(group: list[Stem]) -> bool:
    return all(s[2].find("beam") is not None for s in group)
