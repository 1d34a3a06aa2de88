"""Load ``rules/reduction.toml``: the numbers by which several parts become one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from arranger.model.errors import RuleError
from arranger.rulebook.files import need, read_toml, refuse_unknown, rules_folder

EASIEST, HARDEST = 1, 5
_TABLES: Mapping[str, tuple[str, ...]] = {
    "phrases": ("most_bars", "rest_beats", "novelty"),
    "roles": ("leads", "follows", "repeats", "tune_of_name"),
    "together": ("covered", "doubling", "rhythm", "harmony", "counter-tune", "often"),
    "ease": ("together", "accompaniment_seconds", "tune_seconds")}


@dataclass(frozen=True, slots=True)
class Budget:
    """What one level of ease allows: strings at once, seconds between attacks."""

    together: int
    accompaniment: float
    tune: float


@dataclass(frozen=True, slots=True)
class Reduction:
    """All numbers, by table and name; ``ease`` from 1, the easiest, to 5."""

    numbers: Mapping[tuple[str, str], float]
    ease: tuple[Budget, ...]

    def number(self, table: str, name: str) -> float:
        """Return one number."""
        return self.numbers[table, name]

    def budget(self, level: int) -> Budget:
        """Return what a level of ease allows."""
        return self.ease[level - EASIEST]


@cache
def load_reduction(path: Path | None = None) -> Reduction:
    """Read the file.

    Raises
    ------
    RuleError
        A value or source is missing, is not a number of at least 0, or a name is unknown; or the
        budgets of ease are not five that grow.
    """
    path = path or rules_folder() / "reduction.toml"
    table = read_toml(path)
    refuse_unknown(table, tuple(_TABLES), path)
    values: dict[tuple[str, str], Any] = {}
    for part, names in _TABLES.items():
        rows = need(table, part, dict, path)
        refuse_unknown(rows, names, path, f"{part}.")
        for name in names:
            entry = need(rows, name, dict, path, f"{part}.")
            refuse_unknown(entry, ("value", "source"), path, f"{part}.{name}.")
            need(entry, "source", str, path, f"{part}.{name}.")
            values[part, name] = entry.get("value")
    ease = _ease(values, path)
    for (part, name), value in values.items():
        if part != "ease" and (isinstance(value, bool) or not isinstance(value, int | float)
                               or value < 0):
            raise RuleError(f"{path}: {part}.{name}.value must be a number of at least 0")
    return Reduction({k: float(v) for k, v in values.items() if k[0] != "ease"}, ease)


def _ease(values: Mapping[tuple[str, str], Any], path: Path) -> tuple[Budget, ...]:
    columns = []
    for name, way in (("together", 1), ("accompaniment_seconds", -1), ("tune_seconds", -1)):
        column = values["ease", name]
        if (not isinstance(column, list) or len(column) != HARDEST
                or any(isinstance(v, bool) or not isinstance(v, int | float) for v in column)
                or column != sorted(column, key=lambda v: way * v)):
            raise RuleError(f"{path}: ease.{name}.value must be five numbers, each level no easier "
                            "than the one before")
        columns.append(column)
    return tuple(Budget(int(n), float(a), float(t)) for n, a, t in zip(*columns, strict=True))
