"""Reads a report page as a person does: from what is drawn on it, not from how it was made."""

from __future__ import annotations

import base64
import json
import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree import ElementTree as ET

_AT = re.compile(r"translate\((-?[\d.]+),(-?[\d.]+)\)")
_LINE = re.compile(r"M(-?[\d.]+) (-?[\d.]+) L")
#: SMuFL clef -> diatonic place (7 an octave, C0 is 0) of the line it stands on.
_CLEFS = {"E050": 4 * 7 + 4, "E062": 3 * 7 + 3, "E05C": 4 * 7}
_SMALL = {"E07A": "E050", "E07B": "E05C", "E07C": "E062"}


@dataclass(frozen=True)
class Seen:
    """A note on the page: its id, its bar (index from 1), letter and octave by its height.

    ``either``: what it is read as from each staff, where it lies between two.
    """

    id: str
    bar: int
    string: str
    either: frozenset[str]


def engravings(html: str) -> list[ET.Element]:
    found = re.findall(r'<svg[^>]*class="engraving".*?</svg></svg>', html, re.DOTALL)
    return [ET.fromstring(svg) for svg in found]


def stored(html: str, name: str) -> object:
    text = re.search(rf'<script type="[^"]*" id="{name}">(.*?)</script>', html, re.DOTALL)[1]
    if name == "time":
        return json.loads(text)
    return json.loads(zlib.decompress(base64.b64decode(text)))


def notes(pages: list[ET.Element], named: str = "id") -> Iterator[Seen]:
    """Read every note of every staff by its height over the lines and the clef in force."""
    clefs: dict[int, int] = {}
    bar = 0
    for page in pages:
        for measure in page.iter("g"):
            if measure.get("class") != "measure":
                continue
            bar += 1
            yield from _bar(measure.findall("g[@class='staff']"), bar, clefs, named)


def _bar(staves: list[ET.Element], bar: int, clefs: dict[int, int], named: str) -> Iterator[Seen]:
    lines = [sorted({float(_LINE.match(p.get("d"))[2]) for p in staff.findall("path")})
             for staff in staves]
    events = []
    for home, staff in enumerate(staves):
        for x, kind, y, sign, ident in _signs(staff, named):
            # a note of one hand may be written on the other hand's staff
            far = {k: max(ys[0] - y, y - ys[-1], 0) for k, ys in enumerate(lines)}
            here = home if kind == "clef" or far[home] < 1300 else min(far, key=far.get)
            near = {n for k in range(len(lines) - 1) for n in (k, k + 1)
                    if lines[k][-1] < y < lines[k + 1][0]}
            events.append((x, kind, y, sign, ident, here, near))
    for _, kind, y, sign, ident, staff, near in sorted(events, key=lambda e: e[:6]):
        if kind == "clef":
            code = sign.removeprefix("#g-")
            clefs[staff] = _CLEFS[_SMALL.get(code, code)] - _steps(lines[staff], y)
        else:
            yield Seen(ident, bar, _name(clefs[staff] + _steps(lines[staff], y)), frozenset(
                _name(clefs[k] + _steps(lines[k], y)) for k in near | {staff} if k in clefs))


def _steps(lines: list[float], y: float) -> int:
    return round((lines[-1] - y) * 8 / (lines[-1] - lines[0]))


def _name(place: int) -> str:
    return f"{'CDEFGAB'[place % 7]}{place // 7}"


def _signs(staff: ET.Element, named: str) -> Iterator[tuple[float, str, float, str, str]]:
    for group in staff.iter("g"):
        use = group.find("use") if group.get("class") == "clef" else None
        head = group.find("g[@class='notehead']/use") if "note" in group.get(
            "class", "").split() else None
        for kind, sign in (("clef", use), ("note", head)):
            if sign is not None:
                x, y = map(float, _AT.match(sign.get("transform")).groups())
                yield x, kind, y, sign.get("href"), group.get(named, "")
