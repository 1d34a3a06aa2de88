"""Pedal changes as composers write them: letters and signs, and names in four languages.

A text counts only if nothing else stands in it; a bare letter means natural only in a whole
setting of seven. Of ``F♮→♯`` the last sign is meant.
"""

from __future__ import annotations

import re

from arranger.model.harp import PEDALS

_SIGNS = {"♯": 1, "#": 1, "♮": 0, "n": 0, "♭": -1, "b": -1}
_WORDS = {"sharp": 1, "natural": 0, "nat": 0, "nat.": 0, "flat": -1,
          "dièse": 1, "diese": 1, "dièze": 1, "bécarre": 0, "becarre": 0, "bémol": -1, "bemol": -1,
          "diesis": 1, "bequadro": 0, "bemolle": -1,
          "kreuz": 1, "auflösung": 0}
_BY_LENGTH = sorted(_WORDS, key=len, reverse=True)
_SYLLABLES = {"do": "C", "ut": "C", "ré": "D", "re": "D", "mi": "E", "fa": "F", "sol": "G",
              "la": "A", "si": "B"}
_GERMAN = {"Cis": ("C", 1), "Dis": ("D", 1), "Eis": ("E", 1), "Fis": ("F", 1), "Gis": ("G", 1),
           "Ais": ("A", 1), "His": ("B", 1), "Ces": ("C", -1), "Des": ("D", -1), "Es": ("E", -1),
           "Fes": ("F", -1), "Ges": ("G", -1), "As": ("A", -1)}
_DRAWN = {"^": -1, "-": 0, "v": 1}
_BREAK = r"[\s,;/|+·.()\[\]–—-]+"
_SIGN, _CLEAR = "[♯#♮n♭b]", "[♯#♮♭]"
_LETTER = re.compile(rf"([A-G]) ?({_SIGN})|H ?({_CLEAR})")
_NAMED = re.compile(
    rf"({'|'.join(_SYLLABLES)})[ -]?({'|'.join(map(re.escape, _BY_LENGTH))}|{_SIGN})"
    rf"|([a-h])[ -]?({'|'.join(map(re.escape, _BY_LENGTH))}|{_CLEAR})")
#: Where the pedal goes: a sign alone, or the same letter again.
_GOES_TO = re.compile(rf" ?(?:→|->|>|–|-|to) ?([A-G]?)({_SIGN}?)")
_HEAD = re.compile(r"(?:set|pedals?|ped\.?|harp pedals|pédales?|pedale|pedali) ?:? ", re.IGNORECASE)
#: Names of pedals that are everyday words where they stand alone: an article, a preposition, the
#: voice part (Gesang) and a sign of the singer's part.
_EVERYDAY = frozenset({"An", "En", "Ges.", "As.", "Es.", "Des."})


def read_pedal_text(text: str) -> dict[str, int]:
    """Return the pedals a text sets, by letter; empty if it is anything but pedal names."""
    plain = " ".join(text.split())
    if plain in _EVERYDAY:
        return {}
    plain = _HEAD.sub("", plain, count=1) if _HEAD.match(plain) else plain
    plain = plain.strip(" ()[]:.")
    return (_drawn(plain) or _setting(plain) or _changes(plain)) if plain else {}


def _drawn(text: str) -> dict[str, int]:
    """Seven signs ``^ - v`` in the order of the pedals, feet parted by a stroke."""
    signs = text.replace(" ", "").replace("o", "")
    left, stroke, right = signs.partition("|")
    if not stroke or len(left) != 3 or len(right) != 4 or set(left + right) - set(_DRAWN):
        return {}
    return {p: _DRAWN[s] for p, s in zip(PEDALS, left + right, strict=True)}


def _setting(text: str) -> dict[str, int]:
    """Seven letters, each once, a bare one natural."""
    parts = re.findall(rf"([A-G])({_SIGN}?)", re.sub(_BREAK, "", text))
    if re.sub(rf"[A-G]{_SIGN}?", "", re.sub(_BREAK, "", text)) or sorted(
            letter for letter, _ in parts) != sorted(PEDALS):
        return {}
    return {letter: _SIGNS.get(sign, 0) for letter, sign in parts}


def _changes(text: str) -> dict[str, int]:
    """One change or several, each in one of the notations."""
    found: dict[str, int] = {}
    rest = text
    while rest:
        change = _one(rest)
        if change is None:
            return {}
        letter, alter, end = change
        goes_to = _GOES_TO.match(rest, end)
        if goes_to and goes_to[1] in ("", letter) and (goes_to[1] or goes_to[2]):
            alter, end = _SIGNS.get(goes_to[2], 0), goes_to.end()
        if rest[end:end + 1].isalpha():
            return {}
        found[letter] = alter
        rest = re.sub(f"^{_BREAK}", "", rest[end:])
    return found


def _one(text: str) -> tuple[str, int, int] | None:
    """Letter, position and length of the change a text begins with."""
    letter = _LETTER.match(text)
    if letter and not text[letter.end():letter.end() + 1].isalpha():
        return letter[1] or "B", _SIGNS[letter[2] or letter[3]], letter.end()
    named = _NAMED.match(text.lower())
    if named and not text[named.end():named.end() + 1].isalpha():
        name, sign = named[1] or named[3], named[2] or named[4]
        step = _SYLLABLES.get(name, "B" if name == "h" else name.upper())
        return step, _WORDS[sign] if sign in _WORDS else _SIGNS[sign], named.end()
    german = next((g for g in _GERMAN if text.startswith(g)
                   and not text[len(g):len(g) + 1].isalpha()), None)
    return None if german is None else (*_GERMAN[german], len(german))
