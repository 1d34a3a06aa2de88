"""Signs of a harp part besides its notes: pedals, levers, dynamics, hairpins, damping, clefs."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from lxml import etree

from arranger.io.damp_words import read_damp_words
from arranger.io.lever_words import read_lever_text
from arranger.io.musicxml_read import read
from arranger.io.pedal_names import read_pedal_text
from arranger.io.pedal_words import read_string
from arranger.model.harp import PEDALS, spellings
from arranger.model.marks import (
    Clef,
    DampSign,
    Dynamic,
    Hairpin,
    LeverMark,
    PartMarks,
    PedalMark,
    PianoSign,
)
from arranger.model.score import Note, Score

#: The finger that does not pluck; only at the piano it is written.
_FIFTH = "5"


@dataclass(slots=True)
class _Found:
    """Marks as they are met, the hairpins still open by number, the last other words.

    ``strings``: by onset, the strings that give a note there on another letter than is written.
    """

    strings: Mapping[Fraction, set[tuple[str, int]]]

    pedals: list[PedalMark] = field(default_factory=list)
    dynamics: list[Dynamic] = field(default_factory=list)
    hairpins: list[Hairpin] = field(default_factory=list)
    damps: list[DampSign] = field(default_factory=list)
    piano: list[PianoSign] = field(default_factory=list)
    clefs: list[Clef] = field(default_factory=list)
    levers: list[LeverMark] = field(default_factory=list)
    glides: list[Fraction] = field(default_factory=list)
    open: dict[str, tuple[Fraction, str]] = field(default_factory=dict)
    line: tuple[Fraction, list[str]] = (Fraction(-1), [])  # words of no pedal, read last


def read_marks(root: etree._Element, part_id: str, score: Score | None = None) -> PartMarks:
    """Read the marks of one part.

    Parameters
    ----------
    score : the score read from the same tree, for the onsets of its bars; read anew if None.
    """
    score = read(root).score if score is None else score
    measures = score.measures
    found = _Found(strings=_other_strings(score.part_notes(part_id)))
    (part,) = [p for p in root.iterfind("part") if p.get("id") == part_id]
    divisions = Fraction(1)
    for index, measure in enumerate(part.iterfind("measure")):
        start = measures[index].onset
        given = [Fraction((d.text or "1").strip())
                 for d in measure.iterfind("attributes/divisions")]
        for element, at in _placed(measure, divisions):
            _sign(found, element, start + at, index)
        divisions = given[-1] if given else divisions
    by_time = sorted(found.pedals, key=lambda m: m.onset)
    return PartMarks(tuple(by_time), tuple(sorted(found.dynamics, key=lambda d: d.onset)),
                     tuple(sorted(found.hairpins, key=lambda h: h.onset)),
                     tuple(sorted(found.damps, key=lambda d: d.onset)), tuple(found.piano),
                     tuple(sorted(found.clefs, key=lambda c: c.onset)),
                     tuple(sorted(found.levers, key=lambda m: m.onset)),
                     tuple(sorted(found.glides)))


def _strings_to_damp(direction: etree._Element) -> str:
    return read_damp_words(" ".join(w.text or "" for w in direction.iterfind(
        "direction-type/words")))


def _other_strings(notes: Iterable[Note]) -> dict[Fraction, set[tuple[str, int]]]:
    found: dict[Fraction, set[tuple[str, int]]] = {}
    for note in notes:
        found.setdefault(note.onset, set()).update(
            (p.step, p.alter) for p in spellings(note.midi) if p != note.pitch)
    return found


def _placed(measure: etree._Element,
            divisions: Fraction) -> Iterator[tuple[etree._Element, Fraction]]:
    """Directions, clefs and fingers of a bar with their place in quarter notes from its start."""
    at = begun = Fraction(0)
    for child in measure:
        length = Fraction((child.findtext("duration") or "0").strip()) / divisions
        if child.tag == "attributes":
            divisions = Fraction((child.findtext("divisions") or str(divisions)).strip())
            for clef in child.iterfind("clef"):
                yield clef, at
        elif child.tag == "direction":
            yield child, at + _length(child.findtext("offset")) / divisions
        elif child.tag == "note":
            for finger in child.iterfind("notations/technical/fingering"):
                yield finger, at if child.find("chord") is None else begun
        if child.tag == "backup":
            at -= length
        elif child.tag == "forward" or (child.tag == "note" and child.find("chord") is None):
            begun = at
            at += length


def _sign(found: _Found, element: etree._Element, onset: Fraction, index: int) -> None:
    if element.tag == "clef":
        found.clefs.append(Clef(onset, _whole(element.get("number"), 1),
                                (element.findtext("sign") or "").strip(),
                                _whole(element.findtext("line"), 0),
                                _whole(element.findtext("clef-octave-change"), 0)))
        return
    if element.tag == "fingering":
        if (element.text or "").strip() == _FIFTH:
            found.piano.append(PianoSign(onset, index, "a fifth finger"))
        return
    staff = _whole(element.findtext("staff"), 0)
    alters: dict[str, int] = {}
    texts = []
    for sign in element.iterfind("direction-type/*"):
        if sign.tag == "harp-pedals":
            tuned = [((t.findtext("pedal-step") or "").strip(),
                      _whole(t.findtext("pedal-alter"), 0)) for t in sign.iterfind("pedal-tuning")]
            alters |= {step: alter for step, alter in tuned
                       if step and step in PEDALS and -1 <= alter <= 1}
        elif sign.tag == "words" and read_string(sign.text or "") not in found.strings.get(
                onset, ()):
            levers = read_lever_text(sign.text or "")
            if levers:
                found.levers.append(LeverMark(onset, index, levers, sign.text or ""))
                continue
            if (sign.text or "").strip().lower().startswith("gliss"):
                found.glides.append(onset)
            texts.append(sign.text or "")
            alters |= read_pedal_text(sign.text or "")
        elif sign.tag == "dynamics":
            found.dynamics += [Dynamic(onset, d.tag, staff) for d in sign]
        elif sign.tag in ("damp", "damp-all"):
            found.damps.append(DampSign(onset, sign.tag == "damp-all", "" if sign.tag == "damp-all"
                                        else _strings_to_damp(element)))
        elif sign.tag == "pedal" and sign.get("type") in ("start", "sostenuto"):
            found.piano.append(PianoSign(onset, index, "a sustain pedal sign"))
        elif sign.tag == "wedge":
            _wedge(found, sign, onset)
    if not alters and texts:  # right foot on one line, left foot on the next, or a direction each
        alters = read_pedal_text(" ".join(texts))
        before, found.line = found.line, (onset, texts)
        if not alters and before[0] == onset:
            texts = [*before[1], *texts]
            alters = read_pedal_text(" ".join(texts))
    if alters:
        found.pedals.append(PedalMark(onset, index, alters, len(alters) == len(PEDALS),
                                      " ".join(texts)))


def _length(text: str | None) -> Fraction:
    """Number of divisions in a text, decimal too; 0 where there is none."""
    found = re.fullmatch(r"\s*([+-]?\d{1,9}(?:\.\d{0,9})?)\s*", text or "")
    return Fraction(found[1]) if found else Fraction(0)


def _whole(text: str | None, default: int) -> int:
    """Whole number in a text; the default where there is none or no number."""
    found = re.fullmatch(r"\s*([+-]?\d{1,9})(?:\.\d*)?\s*", text or "")
    return int(found[1]) if found else default


def _wedge(found: _Found, wedge: etree._Element, onset: Fraction) -> None:
    number = wedge.get("number", "1")
    if wedge.get("type") == "stop":
        if number in found.open:
            start, kind = found.open.pop(number)
            found.hairpins.append(Hairpin(start, onset, kind))
    else:
        found.open[number] = (onset, wedge.get("type", ""))
