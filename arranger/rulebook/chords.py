"""Load ``rules/chords.toml``: the notes of chord symbols, and where the left hand plays them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from arranger.model.errors import RuleError
from arranger.model.pitch import Pitch
from arranger.rulebook.files import need, read_toml, refuse_unknown, rules_folder

_DEGREE = re.compile(r"(b*|#*)([1-9]|1[0-3])")
_PLACES = ("lowest", "home", "highest")


@dataclass(frozen=True, slots=True)
class ChordRules:
    """Kinds of chords, and the places of the left hand.

    ``kinds``: for each kind of MusicXML the semitones by which its degrees differ from those of
    the major scale, the seventh major. ``lowest`` and ``highest``: what the left hand takes;
    ``home``: where the bass lies by choice.
    """

    kinds: Mapping[str, Mapping[int, int]]
    lowest: Pitch
    home: Pitch
    highest: Pitch


@cache
def load_chords(path: Path | None = None) -> ChordRules:
    """Read the file.

    Raises
    ------
    RuleError
        A degree is none, a place is no pitch, or a source is missing.
    """
    path = path or rules_folder() / "chords.toml"
    table = read_toml(path)
    refuse_unknown(table, ("kinds", "left_hand"), path)
    kinds = dict(need(table, "kinds", dict, path))
    need(kinds, "source", str, path, "kinds.")
    del kinds["source"]
    hand = need(table, "left_hand", dict, path)
    refuse_unknown(hand, _PLACES, path, "left_hand.")
    lowest, home, highest = (_place(hand, name, path) for name in _PLACES)
    return ChordRules({kind.lower(): _degrees(need(kinds, kind, str, path, "kinds."), kind, path)
                       for kind in kinds}, lowest, home, highest)


def _degrees(text: str, kind: str, path: Path) -> Mapping[int, int]:
    found: dict[int, int] = {}
    for word in text.split():
        match = _DEGREE.fullmatch(word)
        if match is None:
            raise RuleError(f"{path}: kinds.{kind}: {word!r} is no degree of a chord")
        signs, degree = match.groups()
        found[int(degree)] = signs.count("#") - signs.count("b")
    return found


def _place(hand: Mapping[str, object], name: str, path: Path) -> Pitch:
    entry = need(hand, name, dict, path, "left_hand.")
    refuse_unknown(entry, ("value", "source"), path, f"left_hand.{name}.")
    need(entry, "source", str, path, f"left_hand.{name}.")
    try:
        return Pitch.parse(need(entry, "value", str, path, f"left_hand.{name}."))
    except ValueError as error:
        raise RuleError(f"{path}: left_hand.{name}.value: {error}") from error
