"""Load ``rules/damping.toml``: where a draft marks strings to be damped."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path

from arranger.model.errors import RuleError
from arranger.rulebook.files import need, read_toml, refuse_unknown, rules_folder


@dataclass(frozen=True, slots=True)
class Damping:
    """The numbers; what each means stands in the file."""

    share: float
    blur_seconds: float
    exposure: float
    apart_seconds: float


@cache
def load_damping(path: Path | None = None) -> Damping:
    """Return the numbers of ``path``, or of the rules.

    Raises
    ------
    RuleError
        If a number is missing, has no source, is below 0, or a name is unknown; names file and key.
    """
    path = path or rules_folder() / "damping.toml"
    table = read_toml(path)
    names = [f.name for f in fields(Damping)]
    refuse_unknown(table, names, path)
    values: dict[str, float] = {}
    for name in names:
        entry = need(table, name, dict, path)
        refuse_unknown(entry, ("value", "source"), path, f"{name}.")
        need(entry, "source", str, path, f"{name}.")
        value = entry.get("value")
        if isinstance(value, bool) or not isinstance(value, int | float) or value < 0:
            raise RuleError(f"{path}: {name}.value must be a number of at least 0")
        values[name] = float(value)
    return Damping(**values)
