"""The short notation of the examples in the rule files.

``right`` and ``left`` hold what each hand plucks. Notes of one attack stand side by side, ``|``
parts successive attacks, ``-`` is an attack at which the hand rests: ``"C4 E4/2 G4/1 | -"``. A
note is spelled as the string to pluck and may carry its finger after ``/``. Where a hand is not
given it rests; both given have the same number of attacks. ``seconds`` is the time from each
attack to the next (for a single attack: how long it lasts). ``setting`` is the setting of the
pedals before the first attack. ``source`` is what the composer wrote, ``harmony`` the notes of
the chord meant. ``signs`` are signs printed with the passage, ``rolled`` marks rolled chords.
``marks`` are signs with a place, counted in attacks from 1: ``"2.5 F#"`` is a pedal mark halfway
from the second attack to the third, ``"1 crescendo 4"`` lasts until the fourth. ``hold`` is how
many attacks each note is held for, ``key`` the signature in sharps (flats below 0).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from arranger.model.errors import RuleError
from arranger.model.harp import PedalSetting
from arranger.model.pitch import Pitch
from arranger.rulebook.files import Table, need, refuse_unknown

_KEYS = ("good", "bad", "right", "left", "source", "harmony", "setting", "seconds", "rolled",
         "signs", "marks", "hold", "key")
_SETTING = re.compile(r"[DCBEFGA#b| ]+")


@dataclass(frozen=True, slots=True)
class Pluck:
    """One note of an example: its spelling, its hand R or L, its finger where given."""

    pitch: Pitch
    hand: str
    finger: int | None = None


Attack = tuple[Pluck, ...]


@dataclass(frozen=True, slots=True)
class Example:
    """An example of a rule: ``good`` keeps it, otherwise it breaks it; ``says`` tells how."""

    good: bool
    says: str
    attacks: tuple[Attack, ...] = ()
    source: tuple[Attack, ...] = ()
    harmony: frozenset[int] = frozenset()
    setting: PedalSetting | None = None
    seconds: float | None = None
    rolled: bool = False
    signs: frozenset[str] = frozenset()
    marks: tuple[str, ...] = ()
    hold: int = 1
    key: int = 0
    written: tuple[tuple[str, str], ...] = ()


def read_example(table: Table, path: Path, within: str) -> Example:
    """Read one ``[[examples]]`` table.

    Raises
    ------
    RuleError
        If a key is unknown or its text is not in the notation; names the file and the key.
    """
    refuse_unknown(table, _KEYS, path, within)
    verdicts = [key for key in ("good", "bad") if key in table]
    if len(verdicts) != 1:
        raise RuleError(f"{path}: {within[:-1]} needs one of good and bad")
    right = _attacks(table, "right", "R", path, within)
    left = _attacks(table, "left", "L", path, within)
    if right and left and len(right) != len(left):
        raise RuleError(f"{path}: {within[:-1]}: right has {len(right)} attacks, left {len(left)}")
    count = max(len(right), len(left))
    attacks = tuple((*_at(right, i), *_at(left, i)) for i in range(count))
    harmony = need(table, "harmony", str, path, within).split() if "harmony" in table else []
    signs = need(table, "signs", list, path, within) if "signs" in table else []
    return Example(
        good=verdicts[0] == "good", says=need(table, verdicts[0], str, path, within),
        attacks=attacks, source=_attacks(table, "source", "R", path, within),
        harmony=frozenset(_pitch(f"{name}4", path, within).pitch_class for name in harmony),
        setting=_setting(table, path, within),
        seconds=need(table, "seconds", float, path, within) if "seconds" in table else None,
        rolled="rolled" in table and need(table, "rolled", bool, path, within),
        signs=frozenset(map(str, signs)),
        marks=tuple(map(str, need(table, "marks", list, path, within))) if "marks" in table else (),
        hold=need(table, "hold", int, path, within) if "hold" in table else 1,
        key=need(table, "key", int, path, within) if "key" in table else 0,
        written=tuple((key, _plain(table[key])) for key in _KEYS[2:] if key in table))


def _at(attacks: tuple[Attack, ...], index: int) -> Attack:
    return attacks[index] if attacks else ()


def _plain(value: object) -> str:
    if isinstance(value, list):
        return ", ".join(map(str, value))
    return "yes" if value is True else str(value)


def _setting(table: Table, path: Path, within: str) -> PedalSetting | None:
    if "setting" not in table:
        return None
    text = need(table, "setting", str, path, within)
    if not _SETTING.fullmatch(text):
        raise RuleError(f"{path}: {within}setting is no setting: {text!r}")
    return PedalSetting.parse(text)


def _attacks(table: Table, key: str, hand: str, path: Path, within: str) -> tuple[Attack, ...]:
    if key not in table:
        return ()
    written = need(table, key, str, path, within).split("|")
    return tuple(_attack(text, hand, path, f"{within}{key}: ") for text in written)


def _attack(text: str, hand: str, path: Path, within: str) -> Attack:
    plucks = []
    for word in text.split():
        if word == "-":
            continue
        name, _, finger = word.partition("/")
        if finger not in ("", "1", "2", "3", "4"):
            raise RuleError(f"{path}: {within}no finger {finger!r} in {word!r}")
        plucks.append(Pluck(_pitch(name, path, within), hand, int(finger) if finger else None))
    return tuple(plucks)


def _pitch(name: str, path: Path, within: str) -> Pitch:
    try:
        return Pitch.parse(name)
    except ValueError as error:
        raise RuleError(f"{path}: {within}{error}") from error
