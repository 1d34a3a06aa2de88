"""A part that several players' parts became, written anew in two voices a staff."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from copy import deepcopy
from fractions import Fraction
from itertools import pairwise

from lxml import etree

from arranger.io.note_values import beat_of, spelled
from arranger.io.rung_on import LeftOut
from arranger.io.voice_lines import Chains, Line, voice_lines, write_value
from arranger.io.write_beat_beams import beam
from arranger.io.write_divisions import Ticks, divisions_by_measure, number, step
from arranger.io.write_events import Event, events, pitch_of
from arranger.io.write_order import detach, drop, element, notations, prune_notations, put, set_text
from arranger.io.write_pedals import insert
from arranger.io.write_tuplets import bracket
from arranger.model.score import Measure, NoteId

_STAVES = ("1", "2")
_VOICES = {("1", 1): "1", ("1", 2): "2", ("1", 3): "3",
           ("2", 1): "5", ("2", 2): "6", ("2", 3): "7"}
_TIMED = ("direction", "sound", "harmony", "figured-bass")
_MOVABLE = ("direction", "sound", "harmony")  # what the schema gives an offset
_ONCE = ("articulations", "ornaments", "fermata")
Elements = Mapping[NoteId, tuple[etree._Element, ...]]


def write_two_voices(part: etree._Element, measures: tuple[Measure, ...], elements: Elements,
                     left_out: Mapping[int, Sequence[LeftOut]]) -> Elements:
    """Write a harp part anew in two voices a staff; return the notes that are left.

    Notes struck together share stems and one ornament a staff, a unison is written once, rests show
    where the whole staff is silent, beams go by the beat. Where two voices cannot hold all, a third
    takes a held note, or lengths are written shorter (``two_voices.share``); a string that rings on
    is written longer (``rung_on``). Onsets and pitches stay.

    Parameters
    ----------
    part : two staves; changed in place.
    measures : the bars of the score, for their metre.
    elements : the written notes of each note, first the struck one, then those tied to it.
    left_out : by bar, strokes of the source that are not played, in order of time.
    """
    links = [(a, b) for chain in elements.values() for a, b in pairwise(chain)]
    chains = Chains(dict(links), {b: a for a, b in links})
    for bar, (measure, divisions) in zip(measures, divisions_by_measure(part), strict=False):
        _relay(measure, divisions, bar, chains, left_out.get(bar.index, ()))
    return {ident: tuple(dict.fromkeys(_twin(note, chains) for note in chain
                                       if _twin(note, chains) not in chains.gone))
            for ident, chain in elements.items()}


def _twin(note: etree._Element, chains: Chains) -> etree._Element:
    while note in chains.twins:
        note = chains.twins[note]
    return note


def _relay(measure: etree._Element, divisions: Fraction, bar: Measure, chains: Chains,
           left_out: Sequence[LeftOut]) -> None:
    here = [e for e in events(measure) if e.head.find("cue") is None]
    end = max((e.end for e in here), default=Fraction(0)) / divisions
    timed = _take_timed(measure)
    fermatas = {e.onset / divisions: sign for e in here if e.rest
                for sign in e.head.iterfind("notations/fermata")}
    _one_ornament(here)
    lines = {staff: voice_lines(here, staff, divisions, chains, left_out) for staff in _STAVES}
    graces = _graces(here, divisions, lines, chains)
    closing = [b for b in measure.findall("barline") if b.get("location", "right") == "right"]
    for child in [c for c in measure if c.tag in ("note", "backup", "forward")] + closing:
        measure.remove(child)
    at = Fraction(0)
    for staff in _STAVES:
        for voice in (1, 2, 3):
            if voice > 1 and not lines[staff][voice - 1].chords:
                continue
            if at:
                move = etree.SubElement(measure, "backup")
                move.append(element("duration", number(at * divisions)))
            made = _voice(lines[staff], voice, end, graces.get(staff, {}), beat_of(bar))
            _finish(made, staff, voice, divisions, bar, measure, fermatas)
            at = max((o + v for o, v, _ in made), default=Fraction(0))
    measure.extend(closing)
    for place, child in timed:
        _put_back(measure, place, child)


def _one_ornament(here: Iterable[Event]) -> None:
    """Of the ornaments of notes struck together leave a staff the highest note's."""
    struck: dict[tuple[str, Ticks], list[etree._Element]] = {}
    for event in here:
        if not event.grace:
            struck.setdefault((event.staff, event.onset), []).extend(
                n for n in event.notes if _ornaments(n))
    for notes in struck.values():
        for note in sorted(notes, key=_position)[:-1]:
            for sign in _ornaments(note):
                detach(sign)
            prune_notations(note)


def _ornaments(note: etree._Element) -> list[etree._Element]:
    return [s for s in note.iterfind("notations/ornaments/*") if s.tag != "tremolo"]


def _take_timed(measure: etree._Element) -> list[tuple[Fraction, etree._Element]]:
    """Take out directions and the like, with their places in divisions; clefs within go."""
    found: list[tuple[Fraction, etree._Element]] = []
    at, begun = Fraction(0), False
    for child in list(measure):
        if child.tag == "attributes" and begun:
            drop(child, "clef")
            if len(child):
                found.append((at, child))
            measure.remove(child)
        elif begun and (child.tag in _TIMED or child.get("location") == "middle"):
            found.append((at, child))
            measure.remove(child)
        begun = begun or child.tag in ("note", "backup", "forward")
        at = max(at + step(child), Fraction(0))
    return found


def _put_back(measure: etree._Element, at: Fraction, child: etree._Element) -> None:
    own = Fraction((child.findtext("offset") or "0").strip() or 0)
    drop(child, "offset")
    insert(measure, max(at + own, Fraction(0)), [child])
    if child.tag not in _MOVABLE:
        drop(child, "offset")


Graces = dict[tuple[int, Fraction], list[etree._Element]]


def _graces(here: Iterable[Event], divisions: Fraction, lines: Mapping[str, tuple[Line, ...]],
            chains: Chains) -> dict[str, Graces]:
    """Grace notes by staff, voice and the moment they lean on; those of two parts as chords."""
    sung: dict[tuple[str, int, Fraction], dict[tuple[int, str], list[Event]]] = {}
    for event in here:
        if event.grace:
            staff, at = event.staff, event.onset / divisions
            voice = next((v for v in (1, 2, 3) if at in lines[staff][v - 1].chords), 1)
            sung.setdefault((staff, voice, at), {}).setdefault(
                (event.run, event.voice), []).append(event)
    found: dict[str, Graces] = {}
    for (staff, voice, at), groups in sung.items():
        found.setdefault(staff, {})[voice, at] = _together(list(groups.values()), chains)
    return found


def _together(groups: Sequence[Sequence[Event]], chains: Chains) -> list[etree._Element]:
    """Put the grace notes of several voices on common stems: the last with the last."""
    found: list[etree._Element] = []
    for place in range(-max(map(len, groups)), 0):
        chord = [note for group in groups if len(group) >= -place for note in group[place].notes]
        if len(groups) > 1:
            chord = _on_one_stem(chord, chains)
        found += chord
    return found


def _on_one_stem(notes: list[etree._Element], chains: Chains) -> list[etree._Element]:
    """Let grace notes share the stem of the highest; of two on one string one is written."""
    heads: dict[object, etree._Element] = {}
    for note in sorted(notes, key=lambda n: -_position(n)):
        head = heads.setdefault(pitch_of(note), note)
        if head is not note:
            chains.twins[note] = head
    first, *others = heads.values()
    drop(first, "chord")
    for note in others:
        drop(note, "chord", "beam")
        put(note, element("chord"))
        set_text(note, "type", first.findtext("type") or "eighth")
    return [first, *others]


def _position(note: etree._Element) -> int:
    pitch = pitch_of(note)
    return pitch.position if pitch is not None else 0


Row = tuple[Fraction, Fraction, list[etree._Element]]  # onset, length, notes (graces first)


def _voice(lines: tuple[Line, ...], voice: int, end: Fraction, graces: Graces,
           beat: Fraction) -> list[Row]:
    """Chords and rests of one voice; the first voice of a staff fills the bar, the third has none.

    A beat that one of the others has from its start is filled, and the rest that fills it seen.
    """
    mine = lines[voice - 1]
    onsets = sorted(mine.chords)
    rows: list[Row] = []
    at = since = Fraction(0)  # the voice has sounded without a rest since then
    for onset in [*onsets, end]:
        full = min(-(-at // beat) * beat, onset)  # where the beat begun is over
        if full > at and since <= at // beat * beat and voice < 3:
            rows += _rests(at, full, lines, voice == 1, True)
            at = full
        if onset > at and (voice == 1 or (voice == 2 and onset in mine.chords)):
            within = onset in mine.chords and onset > onsets[0]
            rows += _rests(at, onset, lines, voice == 1, within)
        if onset > at or not rows:
            since = onset
        if onset in mine.chords:
            rows.append((onset, mine.values[onset],
                         [*graces.pop((voice, onset), ()), *mine.chords[onset]]))
            at = onset + mine.values[onset]
    for (leant, at), notes in sorted(graces.items()) if voice == 1 else ():
        if at not in lines[leant - 1].chords:
            rows.append((min(at, end), Fraction(0), notes))  # they lean on the note before
    return sorted(rows, key=lambda r: (r[0], bool(r[1]) and r[0] >= end))


def _rests(start: Fraction, end: Fraction, lines: tuple[Line, ...],
           first: bool, within: bool) -> list[Row]:
    """Rests over a gap of one voice, seen where the whole staff is silent, of the ``first`` voice.

    Beside a note of the other voice they are seen ``within`` a voice, between two of its notes;
    beside one of the third voice never.
    """
    third = [(o, o + lines[2].values[o]) for o in lines[2].chords]
    within = within and not any(a < end and start < b for a, b in third)
    sounding = [(o, o + line.values[o]) for line in lines for o in line.chords]
    cuts = sorted({start, end, *(c for span in sounding for c in span if start < c < end)})
    heard = {at: any(a <= at < b for a, b in sounding) for at in cuts}
    rows: list[Row] = []
    run = start
    for one, two in pairwise(cuts):
        seen = within if heard[one] else first
        if two < end and seen == (within if heard[two] else first):
            continue
        for value in spelled(run, two):
            rest = element("note", None, **({} if seen else {"print-object": "no"}))
            rest.append(element("rest"))
            write_value(rest, value)
            rows.append((run, value.length, [rest]))
            run += value.length
        run = two
    return rows


def _finish(rows: list[Row], staff: str, voice: int, divisions: Fraction, bar: Measure,
            measure: etree._Element, fermatas: dict[Fraction, etree._Element]) -> None:
    """Give the notes of a voice their voice, length, stems, beams and brackets; append them."""
    whole = [r for r in rows if r[1]]
    if whole and all(notes[0].find("rest") is not None for _, _, notes in whole) and all(
            notes[0].get("print-object") != "no" for _, _, notes in whole):
        rest = element("note")
        rest.append(element("rest", None, measure="yes"))
        rows[:] = [(Fraction(0), sum((r[1] for r in whole), Fraction(0)), [rest]),
                   *(r for r in rows if not r[1])]
    at = Fraction(0)
    for onset, length, notes in rows:
        if onset > at:
            move = etree.SubElement(measure, "forward")
            move.extend([element("duration", number((onset - at) * divisions)),
                         element("voice", _VOICES[staff, voice]), element("staff", staff)])
        graces = [n for n in notes if n.find("grace") is not None]
        chord = [n for n in notes if n not in graces]
        for note in notes:
            set_text(note, "voice", _VOICES[staff, voice])
            set_text(note, "staff", staff)
            drop(note, "stem")
            measure.append(note)
        _chord(chord, length * divisions)
        if chord and chord[0].find("rest") is not None and onset in fermatas and chord[0].get(
                "print-object") != "no":
            notations(chord[0]).append(deepcopy(fermatas[onset]))
        at = max(at, onset + length)
    stems = [(o, v, next(n for n in notes if n.find("grace") is None))
             for o, v, notes in rows if v]
    beam(stems, bar)
    bracket(stems)


def _chord(notes: list[etree._Element], length: Fraction) -> None:
    """Let notes share a stem: one sign of a kind, the rest of what is the stem's goes."""
    shown: set[str] = set()
    for at, note in enumerate(notes):
        drop(note, "chord", "beam")
        for sign in note.findall("notations/tuplet"):
            detach(sign)
        for sign in [s for tag in _ONCE for s in note.findall(f"notations/{tag}")]:
            for child in list(sign) if sign.tag != "fermata" else ():
                if child.tag in shown:
                    detach(child)
                shown.add(str(child.tag))
            if sign.tag == "fermata":
                if "fermata" in shown:
                    detach(sign)
                shown.add("fermata")
        prune_notations(note)
        if at:
            put(note, element("chord"))
        set_text(note, "duration", number(length))
