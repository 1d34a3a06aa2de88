"""The chosen part of a score becomes a harp part of two staves, the last of the score."""

from __future__ import annotations

import re
from collections.abc import Collection
from copy import deepcopy
from dataclasses import dataclass

from lxml import etree

from arranger.io.harp_chords import settle_chords, settle_lengths
from arranger.io.harp_clean import Removed, clean
from arranger.io.harp_combine import combine
from arranger.io.harp_concert import to_concert
from arranger.io.harp_layout import forget_breaks, forget_positions
from arranger.io.write_divisions import settle_divisions
from arranger.io.write_order import NOTE, drop, element
from arranger.model.errors import ChoiceError

PROGRAM = "47"  # orchestral harp, General MIDI level 1, counted from 1


@dataclass(frozen=True, slots=True)
class HarpPart:
    """A score with a harp part in it: the tree, the part's id, the piano signs removed."""

    root: etree._Element
    part_id: str
    removed: tuple[Removed, ...] = ()

    @property
    def part(self) -> etree._Element:
        """The harp part itself."""
        return next(p for p in self.root.iterfind("part") if p.get("id") == self.part_id)


def as_harp_part(root: etree._Element, part_ids: tuple[str, ...],
                 keep_fingering: bool = False, tune: Collection[str] = ()) -> HarpPart:
    """Return a copy of the score in which the chosen parts are one part named Harp.

    The part has two staves, stands last, is at concert pitch and free of the signs of the
    piano; the other parts stay as they are. A harp part that is so already stays so.

    Parameters
    ----------
    root : score-partwise; not changed.
    part_ids : ids in the part-list, as ``choose_parts`` returns them.
    keep_fingering : keep fingers, words for the hands and the layout, as in a part made for
        the harp.
    tune : ids of those that are said to hold the tune; of several players' dynamics it gives
        the level.

    Raises
    ------
    ChoiceError
        If an id is not in the score.
    """
    tree = deepcopy(root)
    by_id = {part.get("id", ""): part for part in tree.findall("part")}
    for ident in part_ids:
        if ident not in by_id:
            raise ChoiceError(f"no part has the id {ident!r}")
    chosen = [by_id[ident] for ident in part_ids]
    removed: list[Removed] = []
    for part in chosen:
        to_concert(part)
        removed += clean(part, keep_fingering)
        settle_divisions(part)
        settle_lengths(part)
        for measure in part.findall("measure"):
            drop(measure, "print")
            settle_chords(measure)
        if not keep_fingering:
            forget_positions(part)
        for note in part.iterfind("measure/note"):  # whatever else stands in one is no music
            drop(note, "instrument", *(str(child.tag) for child in note if child.tag not in NOTE))
        for ending in part.iterfind("measure/barline/ending"):
            _number_ending(ending)
    harp = combine(chosen, not keep_fingering, tune)
    for part in chosen:
        tree.remove(part)
    tree.append(harp)
    if not keep_fingering:
        forget_breaks(tree)
    _list_harp(tree, part_ids)
    return HarpPart(tree, part_ids[0], _added_up(removed))


def _number_ending(ending: etree._Element) -> None:
    """Keep of an ending's numbers those the schema allows: whole, from 1."""
    numbers = re.findall(r"\d+", ending.get("number", ""))
    ending.set("number", ", ".join(str(int(n)) for n in numbers if int(n)) or "1")


def _added_up(removed: list[Removed]) -> tuple[Removed, ...]:
    """Join what several parts gave up; the first part's bar stands."""
    joined: dict[str, Removed] = {}
    for sign in removed:
        before = joined.get(sign.kind)
        joined[sign.kind] = sign if before is None else Removed(
            sign.kind, before.count + sign.count, before.bar)
    return tuple(joined[kind] for kind in sorted(joined))


def _list_harp(tree: etree._Element, part_ids: tuple[str, ...]) -> None:
    """Put the harp last in the part-list; the parts follow the order of the list."""
    listing = tree.find("part-list")
    if listing is None:
        raise ChoiceError("the score has no part-list")
    lines = {line.get("id", ""): line for line in listing.findall("score-part")}
    harp = _score_part(part_ids[0], lines[part_ids[0]])
    bereft = _groups_around(listing, set(part_ids))
    for ident in part_ids:
        listing.remove(lines[ident])
    _tidy_groups(listing, bereft)
    listing.append(harp)
    order = {line.get("id", ""): at for at, line in enumerate(listing.findall("score-part"))}
    parts = sorted(tree.findall("part"), key=lambda p: order.get(p.get("id", ""), -1))
    for part in parts:
        tree.append(part)  # moves it to the end


def _score_part(ident: str, source: etree._Element) -> etree._Element:
    instrument = f"{ident}-I1"
    made = element("score-part", None, id=ident)
    made.append(element("part-name", "Harp"))
    made.append(element("part-abbreviation", "Hp."))
    inner = etree.SubElement(made, "score-instrument", id=instrument)
    inner.append(element("instrument-name", "Harp"))
    inner.append(element("instrument-sound", "pluck.harp"))
    midi = etree.SubElement(made, "midi-instrument", id=instrument)
    channel = source.findtext("midi-instrument/midi-channel")
    if channel:
        midi.append(element("midi-channel", channel.strip()))
    midi.append(element("midi-program", PROGRAM))
    return made


def _groups(listing: etree._Element) -> list[tuple[etree._Element, etree._Element | None,
                                                   list[str]]]:
    """Return each part-group: its start, its stop (None if missing), the ids of its parts."""
    found: list[tuple[etree._Element, etree._Element | None, list[str]]] = []
    open_groups: dict[str, tuple[etree._Element, list[str]]] = {}
    for line in listing:
        number = line.get("number", "1")
        if line.tag == "score-part":
            for _, ids in open_groups.values():
                ids.append(line.get("id", ""))
        elif line.get("type") == "start":
            open_groups[number] = (line, [])
        elif number in open_groups:
            start, ids = open_groups.pop(number)
            found.append((start, line, ids))
    found.extend((start, None, ids) for start, ids in open_groups.values())
    return found


def _groups_around(listing: etree._Element, ids: set[str]) -> list[etree._Element]:
    return [start for start, _, inside in _groups(listing) if ids & set(inside)]


def _tidy_groups(listing: etree._Element, bereft: list[etree._Element]) -> None:
    """Close open groups; remove empty ones, and those the harp left with a single part."""
    for start, stop, ids in _groups(listing):
        if not ids or (start in bereft and len(ids) == 1):
            listing.remove(start)
            if stop is not None:
                listing.remove(stop)
        elif stop is None:
            listing.append(element("part-group", None, type="stop",
                                   number=start.get("number", "1")))
    started = {start.get("number", "1") for start, _, _ in _groups(listing)}
    for line in listing.findall("part-group"):
        if line.get("type") == "stop" and line.get("number", "1") not in started:
            listing.remove(line)
