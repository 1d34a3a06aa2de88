"""Load a harp from ``rules/harps``: its compass, its strings without discs, its wire strings."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from arranger.model.errors import RuleError
from arranger.model.harp import Harp, HarpString
from arranger.model.pitch import Pitch
from arranger.rulebook.files import named_file, need, read_toml, refuse_unknown

_LIMITS = ("lowest", "highest", "strings", "fixed", "wire_top")


@cache
def load_harp(name: str) -> Harp:
    """Load a harp by the name of a file in ``rules/harps``.

    Raises
    ------
    ChoiceError
        If the name is unknown; lists the names there are.
    RuleError
        If the file is wrong; names the file and the key.
    """
    path = named_file("harps", name, "harp")
    limits = harp_limits(path)
    lowest = _string(limits["lowest"][0], path, "lowest")
    highest = _string(limits["highest"][0], path, "highest")
    fixed = frozenset(_string(s, path, "fixed") for s in limits["fixed"][0])
    wire_top = _string(limits["wire_top"][0], path, "wire_top")
    harp = Harp(name, lowest, highest, fixed, wire_top)
    if len(harp.strings) != limits["strings"][0]:
        raise RuleError(f"{path}: strings is {limits['strings'][0]}, but {lowest} to {highest} "
                        f"are {len(harp.strings)}")
    for string in sorted(fixed):
        if not harp.has(string):
            raise RuleError(f"{path}: fixed names {string}, which this harp does not have")
    return harp


def harp_limits(path: Path) -> dict[str, tuple[Any, str, str]]:
    """Return key -> (value, unit, source) of a harp file.

    Raises
    ------
    RuleError
        If a key is missing, unknown or of the wrong kind.
    """
    table = read_toml(path)
    refuse_unknown(table, ("title", *_LIMITS), path)
    need(table, "title", str, path)
    found: dict[str, tuple[Any, str, str]] = {}
    for key in _LIMITS:
        entry = need(table, key, dict, path)
        refuse_unknown(entry, ("value", "unit", "source"), path, f"{key}.")
        kind: type = {"strings": int, "fixed": list}.get(key, str)
        value: Any = need(entry, "value", kind, path, f"{key}.")
        found[key] = (value, need(entry, "unit", str, path, f"{key}."),
                      need(entry, "source", str, path, f"{key}."))
    return found


def _string(name: object, path: Path, key: str) -> HarpString:
    """Read the name of a string, a natural pitch such as C1."""
    try:
        pitch = Pitch.parse(str(name))
    except ValueError as error:
        raise RuleError(f"{path}: {key} must name strings such as C1: {error}") from error
    if pitch.alter:
        raise RuleError(f"{path}: {key} must name strings such as C1, not {name!r}")
    return HarpString.of(pitch)
