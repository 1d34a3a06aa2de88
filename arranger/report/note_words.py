"""Note signs among words, as in *Langsam (crotchet)*, where a file names the note in words."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

_NOTES = {"whole": "\U0001d15d", "half": "\U0001d15e", "quarter": "♩", "eighth": "♪", "8th": "♪",
          "16th": "\U0001d161", "sixteenth": "\U0001d161", "32nd": "\U0001d162"}
_DOT = "."
_NAMED = re.compile(rf"\b(dotted[ -])?({'|'.join(_NOTES)})(?:[ -]note)?\b", re.IGNORECASE)
_EMPTY = re.compile(r"\s*(?:\(\s*\)|\[\s*\])")


def show_notes(direction: ET.Element) -> None:
    """Put the sign of a note where words have it as ``<other-direction>``, which none draws.

    What cannot be drawn leaves no empty brackets behind.
    """
    others = direction.findall("direction-type/other-direction")
    if not others or direction.find("direction-type/words") is None:
        return
    for sign in others:
        shown, count = _NAMED.subn(lambda m: _NOTES[m[2].lower()] + _DOT * bool(m[1]),
                                   sign.text or "")
        sign.tag, sign.text = "words", shown if count else ""
    words = direction.findall("direction-type/words")
    if _EMPTY.search(text := "".join(word.text or "" for word in words)):
        words[0].text = _EMPTY.sub("", text)
        for word in words[1:]:
            word.text = ""
    for kind in direction.findall("direction-type"):
        for word in kind.findall("words"):
            if not word.text and len(direction.findall("direction-type/words")) > 1:
                kind.remove(word)
        if len(kind) == 0:
            direction.remove(kind)
