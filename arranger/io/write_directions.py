"""Words and dynamics kept out of the rows of the pedals, which stand below the lower staff.

Tempo marks and ways through the form stand over the upper staff; what the left hand is told stands
over its own staff, so between the two (common practice of two staves; for the pedals the harp
notation manual of the Sibelius Academy, "Pedaling": above or below both staves, never between).
"""

from __future__ import annotations

from lxml import etree

from arranger.io.write_order import set_text
from arranger.rulebook.score_words import changes_tempo, is_tempo, jumps_said

#: Signs that can stand on either side of a staff; a bracket of an octave cannot.
_MOVABLE = frozenset({"words", "symbol", "dynamics", "wedge", "dashes", "bracket", "metronome",
                      "rehearsal", "segno", "coda"})
_FOR_ALL = frozenset({"metronome", "rehearsal", "segno", "coda"})
_TOLD = _FOR_ALL | {"words", "symbol"}


def clear_pedal_rows(part: etree._Element) -> None:
    """Move what stands below the lower of two staves, in place; tempo marks go over the upper.

    The part has no marks of pedals or levers yet.
    """
    for direction in part.iterfind("measure/direction"):
        signs = list(direction.iterfind("direction-type/*"))
        if not signs or not {str(sign.tag) for sign in signs} <= _MOVABLE:
            continue
        if _for_all(direction, signs):
            set_text(direction, "staff", "1")
            direction.set("placement", "above")
        elif (direction.findtext("staff") or "1").strip() == "2":
            direction.set("placement", "above")


def _for_all(direction: etree._Element, signs: list[etree._Element]) -> bool:
    """Tell whether a direction is a tempo or a way through the form.

    Words in small letters that could be a tempo (*sostenuto*) say how to play as well and stay,
    and so do those by which a tempo gives way (*rit.*).
    """
    if not {str(sign.tag) for sign in signs} <= _TOLD:
        return False
    words = [" ".join((sign.text or "").split()) for sign in signs if sign.tag == "words"]
    sound = direction.find("sound")
    return (any(sign.tag in _FOR_ALL for sign in signs)
            or any(text[:1].isupper() and is_tempo(text) for text in words)
            or any(jump for text in words for jump in jumps_said(text))
            or (sound is not None and sound.get("tempo") is not None and bool(words)
                and not any(map(changes_tempo, words))))
