"""Load the numbers of the texture stage from ``rules/textures.toml``, each with its source."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType

from arranger.rulebook.files import need, read_toml, refuse_unknown, rules_folder


@cache
def load_texture_numbers(path: Path | None = None) -> Mapping[str, int]:
    """Return name -> whole number from ``[number.NAME]`` tables.

    Raises
    ------
    RuleError
        If a number lacks its value, unit or source, or has an unknown key; names file and key.
    """
    path = path or rules_folder() / "textures.toml"
    table = read_toml(path)
    refuse_unknown(table, ("number",), path)
    numbers: dict[str, int] = {}
    for name, entry in need(table, "number", dict, path).items():
        refuse_unknown(entry, ("value", "unit", "source"), path, f"number.{name}.")
        numbers[name] = need(entry, "value", int, path, f"number.{name}.")
        for key in ("unit", "source"):
            need(entry, key, str, path, f"number.{name}.")
    return MappingProxyType(numbers)
