"""Load a harp from ``rules/harps`` or a file like those: compass, tuning, levers, wire strings.

A file may name a ``base``, a harp of the rulebook from which it takes what it leaves out. The name
of a lever harp takes a tuning after it: ``lever-34-f`` is ``lever-34`` tuned in F.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from arranger.model.errors import RuleError
from arranger.model.harp import Harp, HarpString, PedalSetting
from arranger.model.pitch import Pitch
from arranger.rulebook.files import named_file, need, read_toml, refuse_unknown, rules_folder

#: Keys every harp has, and those it needs only where it is no double-action pedal harp.
_LIMITS: Mapping[str, type] = {"lowest": str, "highest": str, "strings": int, "fixed": list,
                               "wire_top": str}
_MORE: Mapping[str, type] = {"mechanism": str, "tuning": str, "retuned": list,
                             "without_lever": list, "hands_judged": bool}
#: What raises the pitch of a string -> mechanism of the model, and whether it needs a tuning.
MECHANISMS: Mapping[str, tuple[str, bool]] = {
    "pedals of two notches": ("pedal", False), "pedals of one notch": ("pedal", True),
    "levers": ("lever", True), "none": ("lever", True),
    "a string for every semitone": ("chromatic", False)}
_FLATS, _SHARPS = "BEADGCF", "FCGDAEB"
_KEYS = {"F": -1, "Bb": -2, "Eb": -3, "Ab": -4, "Db": -5, "Gb": -6, "Cb": -7, "C": 0, "G": 1,
         "D": 2, "A": 3, "E": 4, "B": 5, "F#": 6, "C#": 7}
_TUNED = re.compile(r"(.+)-([a-g]b?)")
_LETTERS = re.compile(r"(?:[A-G][b#]?[ |]*){7}")
Limits = dict[str, tuple[Any, str, str]]


def load_harp(name_or_path: str | Path) -> Harp:
    """Load a harp by the name of a file in ``rules/harps`` or by the path of a TOML file.

    Raises
    ------
    ChoiceError
        If the name is unknown; lists the names there are.
    RuleError
        If the file is wrong; names the file and the key.
    """
    text = str(name_or_path)
    if text.endswith(".toml"):
        return _harp(Path(text).stem, Path(text), harp_limits(Path(text)))
    return _named(text)


@cache
def _named(name: str) -> Harp:
    folder = rules_folder() / "harps"
    tuned = _TUNED.fullmatch(name)
    if tuned and (path := folder / f"{tuned[1]}.toml").exists():
        limits = harp_limits(path)
        if limits.get("mechanism", ("",))[0] in ("levers", "none"):
            key = tuned[2].capitalize()
            return _harp(name, path, {**limits, "tuning": (key, "key", "named by the user")})
    path = named_file("harps", name, "harp")
    return _harp(name, path, harp_limits(path))


def harp_limits(path: Path) -> Limits:
    """Return key -> (value, unit, source) of a harp file, with what it takes from its base.

    Raises
    ------
    RuleError
        If a key is missing, unknown or of the wrong kind.
    """
    table = read_toml(path)
    refuse_unknown(table, ("title", "base", *_LIMITS, *_MORE), path)
    need(table, "title", str, path)
    found: Limits = {}
    if "base" in table:
        found |= harp_limits(named_file("harps", need(table, "base", str, path), "harp"))
    for key, kind in {**_LIMITS, **_MORE}.items():
        if key not in table and (key in _MORE or key in found):
            continue
        entry = need(table, key, dict, path)
        refuse_unknown(entry, ("value", "unit", "source"), path, f"{key}.")
        value: Any = need(entry, "value", kind, path, f"{key}.")
        found[key] = (value, need(entry, "unit", str, path, f"{key}."),
                      need(entry, "source", str, path, f"{key}."))
    return found


def _harp(name: str, path: Path, limits: Limits) -> Harp:
    lowest, highest, wire_top = (_string(limits[key][0], path, key)
                                 for key in ("lowest", "highest", "wire_top"))
    word = limits.get("mechanism", ("pedals of two notches",))[0]
    if word not in MECHANISMS:
        raise RuleError(f"{path}: mechanism must be one of: {', '.join(MECHANISMS)}; not {word!r}")
    mechanism, wants_tuning = MECHANISMS[word]
    if wants_tuning != ("tuning" in limits):
        raise RuleError(f"{path}: tuning is missing" if wants_tuning else
                        f"{path}: tuning says nothing on a harp with {word}")
    plain = _strings(limits, "without_lever", path)
    harp = Harp(
        name, lowest, highest, _strings(limits, "fixed", path), wire_top, mechanism,
        _tuning(str(limits["tuning"][0]), path) if wants_tuning else None,
        _retuned(limits, path), plain, limits.get("hands_judged", (True,))[0])
    if word == "none":
        harp = Harp(name, lowest, highest, harp.fixed, wire_top, mechanism, harp.tuning,
                    harp.retuned, frozenset(harp.strings), harp.hands_judged)
    _counted(harp, limits["strings"][0], path)
    named = {"fixed": harp.fixed, "without_lever": plain, "retuned": harp.retuned.keys()}
    for key, strings in named.items():
        for string in sorted(strings):
            if not harp.has(string):
                raise RuleError(f"{path}: {key} names {string}, which this harp does not have")
    return harp


def _counted(harp: Harp, said: int, path: Path) -> None:
    if harp.mechanism == "chromatic":
        count = harp.highest.pitch(0).midi - harp.lowest.pitch(0).midi + 1
        if said < count:
            raise RuleError(f"{path}: strings is {said}, but {harp.lowest} to {harp.highest} are "
                            f"{count} semitones")
    elif len(harp.strings) != said:
        raise RuleError(f"{path}: strings is {said}, but {harp.lowest} to {harp.highest} "
                        f"are {len(harp.strings)}")


def tunings() -> dict[str, PedalSetting]:
    """Open strings of every major key, from seven flats to seven sharps."""
    return {key: _of_key(fifths)
            for key, fifths in sorted(_KEYS.items(), key=lambda item: item[1])}


def _of_key(fifths: int) -> PedalSetting:
    letters = _SHARPS[:fifths] if fifths >= 0 else _FLATS[:-fifths]
    return PedalSetting.of(dict.fromkeys(letters, 1 if fifths > 0 else -1))


def _tuning(text: str, path: Path) -> PedalSetting:
    """Read the open strings: a major key such as Eb, or seven letters with their signs."""
    if text in _KEYS:
        return _of_key(_KEYS[text])
    if _LETTERS.fullmatch(text.strip()) and len({c for c in text if c.isupper()}) == 7:
        return PedalSetting.parse(text)
    raise RuleError(f"{path}: tuning must be a major key such as Eb or seven strings such as "
                    f"'D C Bb Eb F G Ab', not {text!r}")


def _retuned(limits: Limits, path: Path) -> dict[HarpString, int]:
    found = {}
    for name in limits.get("retuned", ([],))[0]:
        try:
            pitch = Pitch.parse(str(name))
        except ValueError as error:
            raise RuleError(f"{path}: retuned must name pitches such as F#5: {error}") from error
        found[HarpString.of(pitch)] = pitch.alter
    return found


def _strings(limits: Limits, key: str, path: Path) -> frozenset[HarpString]:
    return frozenset(_string(s, path, key) for s in limits.get(key, ([],))[0])


def _string(name: object, path: Path, key: str) -> HarpString:
    """Read the name of a string, a natural pitch such as C1."""
    try:
        pitch = Pitch.parse(str(name))
    except ValueError as error:
        raise RuleError(f"{path}: {key} must name strings such as C1: {error}") from error
    if pitch.alter:
        raise RuleError(f"{path}: {key} must name strings such as C1, not {name!r}")
    return HarpString.of(pitch)
