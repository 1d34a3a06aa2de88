"""Which marks of a score are for all players: form, tempo, rehearsal letters, headings."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from xml.etree import ElementTree as ET

from arranger.rulebook.score_words import changes_tempo, is_tempo, jumps_said, plain

#: What a mark says, so that it is not said twice: a kind and its text.
Said = frozenset[tuple[str, str]]
_SIGNS = ("metronome", "rehearsal", "segno", "coda")
#: A bare ``<sound>`` prints nothing: what stands for it.
_FORM = {"segno": "", "coda": "", "tocoda": "To Coda", "fine": "Fine", "dacapo": "D.C.",
         "dalsegno": "D.S."}
_PARTING = ("light-light", "light-heavy", "heavy-light", "heavy-heavy", "heavy")
#: Begins a text over a section that is for one player after all (common practice).
_TO_A_PLAYER = re.compile(r"\W*(?:solo|soli|tutti|arco|pizz|muta|con sord|senza sord|mit dampfer|"
                          r"ohne dampfer|div|unis|tacet|a ?[2-4]\b|zu [2-4])")


def said(direction: ET.Element) -> Said:
    """Say what a direction shows, each sign and text by itself."""
    return frozenset(filter(None, map(_content, direction.iterfind("direction-type/*"))))


def bare(text: str) -> str:
    """Return a text as ``said`` compares it: small letters, no accents, no brackets around it."""
    return plain(text).strip(" .()[]")


def _content(sign: ET.Element) -> tuple[str, str] | None:
    text = bare("".join(sign.itertext()))
    return (sign.tag, text) if text or sign.tag in _SIGNS else None


def signs_for_all(direction: ET.Element, top: bool, opens: bool) -> list[ET.Element]:
    """Return the ``direction-type`` elements of a direction that every player needs to see.

    Parameters
    ----------
    top : it stands at the top staff of the score, where words for all are printed once.
    opens : it stands at the beginning of a section, where a heading can stand.
    """
    kinds = direction.findall("direction-type")
    words = [" ".join((w.text or "").split()) for w in direction.iterfind("direction-type/words")]
    system = direction.get("system", "")
    top = top and system != "none" and direction.get("placement") != "below"
    speaks = (direction.get("directive") == "yes" or system in ("only-top", "also-top")
              or direction.find("sound[@tempo]") is not None
              or bool(form_said(direction) - (set() if top else {"trio"}))
              or (top and any(map(is_tempo, words)))
              or (system != "none" and any(map(changes_tempo, words)))
              or (top and opens and any(map(_heads, words)))
              or any(kind.find(sign) is not None for kind in kinds for sign in _SIGNS))
    wanted = (*_SIGNS, "words") if speaks else ()
    return [kind for kind in kinds if any(kind.find(sign) is not None for sign in wanted)]


def opens_section(bars: list[ET.Element], index: int) -> bool:
    """Tell whether a bar of a part begins a section, as a heading over it would say."""
    if index == 0:
        return True
    here, before = bars[index], bars[index - 1]
    return (any(here.find(f"attributes/{what}") is not None for what in ("time", "key"))
            or here.find("barline[@location='left']") is not None
            or any(bar.get("location", "right") == "right" and (
                bar.find("repeat") is not None or bar.findtext("bar-style", "") in _PARTING)
                   for bar in before.findall("barline")))


def _heads(text: str) -> bool:
    """Tell whether words can be a heading: they begin as a name or a number does."""
    return text[:1].isupper() and not _TO_A_PLAYER.match(plain(text))


def form_said(element: ET.Element) -> set[str]:
    """Return what a direction or a bare sound says of the form, as ``<sound>`` calls it."""
    sounds = [element] if element.tag == "sound" else element.findall("sound")
    found = {kind for sound in sounds for kind in _FORM if sound.get(kind, "no") != "no"}
    for sign in element.iterfind("direction-type/*"):
        if sign.tag == "words":
            found |= set(jumps_said(sign.text or ""))
        elif sign.tag in _FORM:
            found.add(sign.tag)
    return found


def made_visible(kinds: Iterable[str]) -> Iterator[ET.Element]:
    """Yield a direction for each part of the form that only ``<sound>`` says."""
    for kind in sorted(kinds):
        made = ET.Element("direction", {"placement": "above"})
        shown = ET.SubElement(ET.SubElement(made, "direction-type"),
                              "words" if _FORM[kind] else kind)
        shown.text = _FORM[kind] or None
        yield made
