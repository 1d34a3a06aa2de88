"""Load ``rules/universe.toml``: how much the joint plan weighs at every slice."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path

from arranger.model.errors import RuleError
from arranger.rulebook.files import need, read_toml, refuse_unknown, rules_folder


@dataclass(frozen=True, slots=True)
class Universe:
    """Sizes of the option universe; what each means stands in the file."""

    patterns: int
    changes: int
    asked: int
    thinned: int
    choices: int
    touchy_only: int
    rounds: int
    patience: int
    gain: int
    proof: int
    near: int
    branches: int
    margin: int


@cache
def load_universe(path: Path | None = None) -> Universe:
    """Return the universe of ``path``, or of the rules.

    Raises
    ------
    RuleError
        If a size is missing, has no source, or is no whole number above -1; names file and key.
    """
    path = path or rules_folder() / "universe.toml"
    table = read_toml(path)
    names = [f.name for f in fields(Universe)]
    refuse_unknown(table, names, path)
    sizes = {}
    for name in names:
        entry = need(table, name, dict, path)
        refuse_unknown(entry, ("value", "source"), path, f"{name}.")
        need(entry, "source", str, path, f"{name}.")
        sizes[name] = need(entry, "value", int, path, f"{name}.")
        if sizes[name] < 0:
            raise RuleError(f"{path}: {name}.value must not be below 0")
    return Universe(**sizes)
