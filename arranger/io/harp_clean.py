"""Signs of the piano or the bow, and old pedal marks, out of a part that becomes a harp part."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from lxml import etree

from arranger.io.harp_asides import leave_out_asides, still_tremolo
from arranger.io.lever_words import read_lever_text
from arranger.io.pedal_words import is_pedal_text
from arranger.io.write_order import detach, element, forget, prune_notations

# Words of the pianist's feet and hands in the usual languages (common practice).
_PEDAL = re.compile(
    r"(?:\b(?:con|col|senza|sempre|sans|avec|mit|ohne|with|without|both|both the|i|il|les?|"
    r"due|2|deux|beiden?|simile)\s+)*[\[(*]?\bped(?:al[sei]?|[aá]le|[ae]len|\.)?(?![a-z])[.\])*]*"
    r"(?:\s*(?:simile|sim\.|sempre|ad lib(?:itum)?\.?))?|[\ue650-\ue655]", re.IGNORECASE)
_CORDA = re.compile(r"\b(?:(?:una|due|tre|tutte(?: le)?) cord[ae]|u\. ?c\.|t\. ?c\.)",
                    re.IGNORECASE)
_HANDS = re.compile(
    r"\(?(?:\b[mrl]\. ?[dsgh]\.?(?: ?(?:sopra|sotto)\b)?|\bmano (?:destra|sinistra)\b|"
    r"\bmain (?:droite|gauche)\b|\b(?:rechte|linke) hand\b|\b(?:right|left) hand\b)\)?",
    re.IGNORECASE)
# Words of bow and mute in parts of one staff (common practice); a harpist plucks anyway.
_BOWING = re.compile(
    r"\b(?:arco|pizz(?:icato)?|(?:con|senza|via|avec|sans|mit|ohne|with|without) "
    r"(?:sord(?:in[aeio]|ines?)?|sourdines?|dämpfer|mutes?)|mute[ds]?|"
    r"col legno(?: battuto| tratto)?|sul(?: ponticello| tasto|la tastiera)|spicc(?:ato)?|"
    r"div(?:isi)?|unis(?:on[io])?|(?:up|down)[- ]bow)\b\.?"
    r"|^\W*(?:[aà]|zu) ?[2-4]\W*$", re.IGNORECASE)
_BOWED = ("up-bow", "down-bow", "open-string", "thumb-position", "double-tongue", "triple-tongue",
          "stopped", "snap-pizzicato", "fret", "string", "hammer-on", "pull-off", "bend", "tap",
          "brass-bend", "flip", "smear", "open", "half-muted", "harmon-mute", "hole", "handbell")
_SOUND = ("damper-pedal", "soft-pedal", "sostenuto-pedal")


@dataclass(frozen=True, slots=True)
class Removed:
    """One kind of sign that was taken out: how often, and the bar where it stood first."""

    kind: str
    count: int
    bar: str


def clean(part: etree._Element, keep_fingering: bool = False) -> tuple[Removed, ...]:
    """Take out, in place, what is not for a harpist; return it counted by kind.

    With ``keep_fingering`` (a harp part) fingers, words for the hands and cues stay. In a part of
    one staff, which is another player's, words and signs of bow and mute and tremolos on one note
    go too.
    """
    kinds = {"sustain pedal": _PEDAL, "una corda": _CORDA}
    if not keep_fingering:
        kinds["words for the hands"] = _HANDS
        if all((s.text or "1").strip() == "1" for s in part.iter("staves", "staff")):
            kinds["bowing"] = _BOWING
    said = [] if keep_fingering else leave_out_asides(part)
    for measure in part.findall("measure"):
        said += [(kind, measure.get("number", ""))
                 for kind in _clean_measure(measure, kinds, keep_fingering)]
    found: dict[str, tuple[int, str]] = {}
    for kind, bar in said:
        count, first = found.get(kind, (0, bar))
        found[kind] = (count + 1, first)
    return tuple(Removed(kind, count, bar) for kind, (count, bar) in sorted(found.items()))


Kinds = Mapping[str, re.Pattern[str]]


def _clean_measure(measure: etree._Element, kinds: Kinds, keep_fingering: bool) -> Iterator[str]:
    for direction in measure.findall("direction"):
        yield from _clean_direction(direction, kinds)
    for sound in measure.findall("sound"):
        _clean_sound(sound)
    if keep_fingering:
        return
    for note in measure.findall("note"):
        for sign in note.findall("notations/technical/*"):
            if sign.tag == "fingering" or sign.tag in _BOWED:
                detach(sign)
                yield "fingering" if sign.tag == "fingering" else "bowing"
        if "bowing" in kinds and still_tremolo(note):
            yield "bowed tremolo"
        prune_notations(note)


def _clean_direction(direction: etree._Element, kinds: Kinds) -> Iterator[str]:
    changed = False
    for kind_of in direction.findall("direction-type"):
        for sign in list(kind_of):
            kind = _kind(sign, kinds)
            if kind:
                changed = True
                yield kind
                if not (sign.text or "").strip():
                    kind_of.remove(sign)
        if len(kind_of) == 0:
            direction.remove(kind_of)
    sound = direction.find("sound")
    if sound is not None:
        _clean_sound(sound)
    if changed and direction.find("direction-type") is None:
        _give_up(direction)


def _kind(sign: etree._Element, kinds: Kinds) -> str:
    """Name what is wrong with a sign and take the words out of it; "" if it may stay."""
    if sign.tag == "pedal":
        sign.text = None
        return "sustain pedal"
    if sign.tag == "harp-pedals":
        sign.text = None
        return "old pedal diagram"
    if sign.tag != "words" or not sign.text:
        return ""
    if is_pedal_text(sign.text):
        sign.text = None
        return "old pedal words"
    if read_lever_text(sign.text):
        sign.text = None
        return "old lever words"
    for kind, pattern in kinds.items():
        rest, cuts = pattern.subn("", sign.text)
        if cuts:
            sign.text = _tidy(rest)
            return kind
    return ""


def _tidy(text: str) -> str:
    """What is left of a text: without loose commas, brackets and conjunctions."""
    text = re.sub(r"\(\s*\)|\[\s*\]", "", text)
    return re.sub(r"^[\s,;.&*]+|[\s,;&*]+$", "", re.sub(r"[ \t]+", " ", text))


def _clean_sound(sound: etree._Element) -> None:
    forget(sound, *_SOUND)
    if not sound.attrib and len(sound) == 0:
        detach(sound)


def _give_up(direction: etree._Element) -> None:
    """Remove a direction that shows nothing; what it sounds stays as a bare ``<sound>``."""
    parent, sound = direction.getparent(), direction.find("sound")
    if parent is None:
        return
    if sound is not None:
        offset = direction.findtext("offset")
        if offset and sound.find("offset") is None:
            sound.append(element("offset", offset))
        parent.insert(parent.index(direction), sound)
    parent.remove(direction)
