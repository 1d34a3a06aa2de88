"""What the page offers: demo scores and keys, and whether what is asked is offered."""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from arranger.model.errors import ChoiceError
from arranger.rulebook.files import read_toml, rules_folder
from arranger.rulebook.titles import titles

_INTERVALS = ("", "a semitone", "a tone", "a minor third", "a major third", "a fourth")
#: Key of the settings -> words on the page, for every transposition within a fourth.
KEYS: Mapping[str, str] = {
    "": "in its own key", "best": "in the key that suits the harp best",
    **{f"{sign}{n}": f"{_INTERVALS[n]} {way}" for sign, way in (("+", "higher"), ("-", "lower"))
       for n in range(1, 6)}}
_TEMPO = re.compile(r"\d{1,3}(\.\d{1,3})?")
#: Parts that can be combined at most (an orchestra has fewer).
_MOST_PARTS = 60


@cache
def demos() -> Mapping[str, tuple[str, Path]]:
    """Name of each demo score -> its title and file; none where they are not installed."""
    corpus = rules_folder().parent / "corpus"
    return {p.name: (str(read_toml(p / "SOURCE.toml")["title"]), p / "score.musicxml")
            for p in sorted(corpus.glob("*")) if (p / "score.musicxml").is_file()}


def settings(asked: Mapping[str, Any], known: Mapping[str, Any]) -> dict[str, Any]:
    """Return the settings that were asked for, if each is one that the page offers.

    Raises
    ------
    ChoiceError
        One is not; says what to do.
    """
    ids = [p["id"] for p in known.get("parts", ())]
    parts = asked.get("parts")
    if not isinstance(parts, list) or not parts or len(parts) > _MOST_PARTS or any(
            p not in ids for p in parts):
        raise ChoiceError("Tick the part that the harp is to play, or several.")
    if asked.get("harp") not in titles("harps"):
        raise ChoiceError("Choose a harp from the list.")
    if asked.get("player") not in titles("players"):
        raise ChoiceError("Choose a player from the list.")
    if asked.get("transpose", "") not in KEYS:
        raise ChoiceError("Choose a key from the list.")
    tempo = asked.get("tempo", "")
    if not isinstance(tempo, str) or (tempo and not (
            _TEMPO.fullmatch(tempo) and 10 <= Fraction(tempo) <= 400)):
        raise ChoiceError("Give a tempo from 10 to 400 crotchets a minute, or leave it empty.")
    return {"parts": [i for i in ids if i in parts], "harp": asked["harp"],
            "player": asked["player"], "transpose": asked.get("transpose", ""), "tempo": tempo,
            "part_is_harp": asked.get("part_is_harp") is True,
            "chords": asked.get("chords") is True}
