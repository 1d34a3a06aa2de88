"""Slurs, dynamics and words sung, of a part that several players' became: one line of each."""

from __future__ import annotations

from collections.abc import Sequence

from lxml import etree

from arranger.io.harp_signs import LEVELS, join_signs, offset_of
from arranger.io.write_divisions import Ticks, placed
from arranger.io.write_events import pitch_of
from arranger.io.write_order import detach, drop, forget, prune_notations, set_text

Pair = tuple[etree._Element, etree._Element]
Place = tuple[int, Ticks]
#: A level or words said again within so many bars of the same are left out (assumption).
_BARS = 2
_ACCENTS = ("sf", "sfz", "sfp", "sfpp", "sffz", "sfzp", "fz", "fp", "rf", "rfz", "pf")


def keep_slurs(part: etree._Element, found: Sequence[Pair]) -> None:
    """Keep of these slurs, start and stop, those within one voice that cross no other there.

    What began on a note that is gone, or ends in another voice, goes; numbers are given anew.
    """
    at = _note_places(part)
    spans: dict[tuple[str, str], list[tuple[Place, Place, Pair]]] = {}
    for start, stop in found:
        first, last = _note(start), _note(stop)
        if (first is not None and last is not None and first in at and last in at
                and at[first] < at[last] and _home(first) == _home(last)):
            spans.setdefault(_home(first), []).append((at[first], at[last], (start, stop)))
    kept: set[etree._Element] = set()
    for rank, home in enumerate(sorted(spans)):
        reach: Place = (-1, 0)
        turn = 0
        for begins, ends, pair in sorted(spans[home], key=lambda s: (s[0], _back(s[1]))):
            if begins >= reach:
                reach, turn = ends, turn + 1
                kept.update(pair)
                for sign in pair:
                    sign.set("number", str(2 * rank % 16 + 1 + turn % 2))
    for note in part.iterfind("measure/note"):
        for sign in note.findall("notations/slur"):
            if sign not in kept:
                detach(sign)
            else:
                forget(sign, "placement", "orientation", "bezier-x", "bezier-y", "bezier-x2",
                       "bezier-y2")
        prune_notations(note)


def _back(place: Place) -> Place:
    return -place[0], -place[1]


def _note(sign: etree._Element) -> etree._Element | None:
    return next(sign.iterancestors("note"), None)


def _home(note: etree._Element) -> tuple[str, str]:
    return note.findtext("staff") or "1", note.findtext("voice") or "1"


def _note_places(part: etree._Element) -> dict[etree._Element, Place]:
    found: dict[etree._Element, Place] = {}
    for index, measure in enumerate(part.findall("measure")):
        found |= {child: (index, at) for at, child in placed(measure)
                  if child.tag == "note" and child.find("grace") is None}
    return found


def hairpins(part: etree._Element) -> list[Pair]:
    """Return start and stop of every hairpin, matched by number in file order."""
    waiting: dict[str, etree._Element] = {}
    found: list[Pair] = []
    for sign in part.iterfind("measure/direction/direction-type/wedge"):
        number = sign.get("number", "1")
        if sign.get("type") == "stop" and number in waiting:
            found.append((waiting.pop(number), sign))
        elif sign.get("type") in ("crescendo", "diminuendo"):
            waiting[number] = sign
    return found


def keep_hairpins(part: etree._Element, found: Sequence[Pair]) -> None:
    """Keep of these hairpins those that begin after the one before has ended."""
    at = _direction_places(part)
    spans = [(at[first], at[last], pair) for pair in found
             if (first := _direction(pair[0])) in at and (last := _direction(pair[1])) in at]
    kept: set[etree._Element] = set()
    reach: Place = (-1, 0)
    for begins, ends, pair in sorted(spans, key=lambda s: (s[0], s[1])):
        if reach <= begins < ends:
            reach = ends
            kept.update(pair)
    for direction in part.findall("measure/direction"):
        for sign in direction.findall("direction-type/wedge"):
            if sign in kept:
                sign.set("number", "1")
            else:
                _take_out(direction, sign)


def _direction(sign: etree._Element) -> etree._Element | None:
    return next(sign.iterancestors("direction"), None)


def _direction_places(part: etree._Element) -> dict[etree._Element | None, Place]:
    found: dict[etree._Element | None, Place] = {}
    for index, measure in enumerate(part.findall("measure")):
        for at, child in placed(measure):
            if child.tag == "direction":
                found[child] = (index, at + offset_of(child))
    return found


def one_line_of_words(part: etree._Element) -> None:
    """Of several singers' words leave those of the highest voice: they are its signpost.

    What several players are told (*cresc.*, *legato*) is said once, where it comes first.
    """
    _say_once(part)
    sung: dict[str, list[etree._Element]] = {}
    for note in part.iterfind("measure/note"):
        if note.find("lyric") is not None:
            sung.setdefault(note.findtext("voice") or "1", []).append(note)
    if len(sung) < 2:
        return
    top = max(sung, key=lambda v: sum(p.position for n in sung[v] if (p := pitch_of(n)))
              / len(sung[v]))
    for note in (n for voice, notes in sung.items() if voice != top for n in notes):
        drop(note, "lyric")


def _say_once(part: etree._Element) -> None:
    """Leave words out that stand in the same bar, or were the last said some bars ago."""
    last = ("", -_BARS)
    for index, measure in enumerate(part.findall("measure")):
        told: set[str] = set()
        for _, direction in _in_time(measure):
            for sign in direction.findall("direction-type/words"):
                words = (sign.text or "").strip().lower()
                if words in told or (words == last[0] and index - last[1] <= _BARS):
                    _take_out(direction, sign)
                told.add(words)
                last = (words, index)


def _in_time(measure: etree._Element) -> list[tuple[Ticks, etree._Element]]:
    """Return the directions of a bar in the order in which they take effect."""
    return sorted(((at + offset_of(child), child) for at, child in placed(measure)
                   if child.tag == "direction"), key=lambda t: t[0])


def one_line_of_dynamics(part: etree._Element) -> None:
    """Put dynamics and hairpins between the staves, each once; a level in force is not repeated.

    An accent (*sf*, *fp*) stays where a note is struck.
    """
    for direction in part.iterfind("measure/direction"):
        kinds = {str(sign.tag) for sign in direction.iterfind("direction-type/*")}
        if kinds <= {"dynamics", "wedge"}:
            set_text(direction, "staff", "1")
            direction.set("placement", "below")
    join_signs(part)
    said: tuple[str, int] = ("", -_BARS)
    for index, measure in enumerate(part.findall("measure")):
        struck = {at for at, child in placed(measure) if child.tag == "note" and pitch_of(child)}
        for at, direction in _in_time(measure):
            if direction.find("direction-type/wedge") is not None:
                said = ("", -_BARS)
            for sign in direction.findall("direction-type/dynamics"):
                level = " ".join(str(d.tag) for d in sign)
                again = level == said[0] and index - said[1] < _BARS
                if again or (level in _ACCENTS and at not in struck):
                    _take_out(direction, sign)
                else:
                    said = (level if level in LEVELS else "", index)


def _take_out(direction: etree._Element, sign: etree._Element) -> None:
    kind = sign.getparent()
    detach(sign)
    if kind is not None and len(kind) == 0:
        detach(kind)
    if direction.find("direction-type") is None:
        detach(direction)
