"""Load the rules of the trade from ``rules/<family>/<CODE>-<name>.toml``."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import get_args

from arranger.model.diagnostic import Severity
from arranger.model.errors import ChoiceError, RuleError
from arranger.rulebook.examples import Example, read_example
from arranger.rulebook.files import Table, need, read_toml, refuse_unknown, rules_folder

#: Family letter of a code -> folder of the family.
FAMILIES: Mapping[str, str] = {"P": "pedals", "S": "strings", "H": "hands", "R": "ring",
                               "L": "glissandi", "O": "harmonics", "M": "damping", "C": "compass",
                               "N": "notation", "T": "texture", "V": "tempo",
                               "K": "levers"}
KINDS = ("common practice", "assumption", "from memory")
_CODE = re.compile(r"([A-Z])[1-9]\d*")
_KEYS = ("code", "name", "title", "severity", "family", "timed", "why", "player", "harp", "limits",
         "sources", "examples")
_SOURCE = ("author", "title", "year", "place", "quote", "kind", "note")


@dataclass(frozen=True, slots=True)
class Limit:
    """A number of the trade (or a string, or names), its unit and where it comes from."""

    value: float | str | tuple[str, ...]
    unit: str
    source: str


@dataclass(frozen=True, slots=True)
class RuleSource:
    """Where a rule comes from: a publication, or a ``kind`` that says there is none."""

    author: str = ""
    title: str = ""
    year: str = ""
    place: str = ""
    quote: str = ""
    kind: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule of the trade.

    ``severity`` is the most a finding can be: error (cannot be played), warning (against the
    idiom), advice (taste). Findings of a ``timed`` rule are at most warnings where the tempo is
    assumed. ``player`` and ``harp`` name the keys of ``rules/players`` and ``rules/harps`` it
    judges by; ``limits`` are its own numbers.
    """

    code: str
    name: str
    title: str
    severity: Severity
    family: str
    timed: bool
    why: str
    limits: Mapping[str, Limit]
    player: tuple[str, ...]
    harp: tuple[str, ...]
    sources: tuple[RuleSource, ...]
    examples: tuple[Example, ...]

    def number(self, limit: str) -> float:
        """Value of one of the rule's own numbers.

        Raises
        ------
        RuleError
            If the rule has no such number.
        """
        found = self.limits.get(limit)
        if found is None or not isinstance(found.value, float):
            raise RuleError(f"rule {self.code} has no number {limit}")
        return found.value


def rule(code: str) -> Rule:
    """Return one rule.

    Raises
    ------
    ChoiceError
        If there is no rule of this code; lists the codes there are.
    """
    rules = rulebook()
    if code not in rules:
        raise ChoiceError(f"no rule {code!r}; the rules are: {', '.join(rules)}")
    return rules[code]


@cache
def rulebook() -> Mapping[str, Rule]:
    """Return code -> rule for all rules, in the order of families and numbers.

    Raises
    ------
    RuleError
        If a rule file is wrong or two have one code; names the file and the key.
    """
    return read_rules(rules_folder())


def read_rules(folder: Path) -> Mapping[str, Rule]:
    """Read the rules of all families under ``folder``; see ``rulebook``."""
    found: dict[str, Rule] = {}
    for family in FAMILIES.values():
        for path in sorted((folder / family).glob("*.toml")):
            read = read_rule(path)
            if read.code in found:
                raise RuleError(f"{path}: code {read.code} is taken by {found[read.code].name}")
            found[read.code] = read
    order = list(FAMILIES)
    codes = sorted(found, key=lambda code: (order.index(code[0]), int(code[1:])))
    return MappingProxyType({code: found[code] for code in codes})


def read_rule(path: Path) -> Rule:
    """Read one rule file.

    Raises
    ------
    RuleError
        If it is wrong; names the file and the key.
    """
    table = read_toml(path)
    refuse_unknown(table, _KEYS, path)
    code, name = need(table, "code", str, path), need(table, "name", str, path)
    family, severity = need(table, "family", str, path), need(table, "severity", str, path)
    letter = _CODE.fullmatch(code)
    if not letter or FAMILIES.get(letter[1]) != family or path.parent.name != family:
        raise RuleError(f"{path}: code {code!r} does not belong to family {family!r}")
    if path.stem != f"{code}-{name}":
        raise RuleError(f"{path}: the file must be called {code}-{name}.toml")
    if severity not in get_args(Severity):
        raise RuleError(f"{path}: severity must be error, warning or advice, not {severity!r}")
    limits = {key: _limit(entry, path, f"limits.{key}.")
              for key, entry in table.get("limits", {}).items()}
    sources = tuple(_source(entry, path, f"sources[{i}].")
                    for i, entry in enumerate(need(table, "sources", list, path), 1))
    examples = tuple(read_example(entry, path, f"examples[{i}].")
                     for i, entry in enumerate(need(table, "examples", list, path), 1))
    return Rule(
        code=code, name=name, title=need(table, "title", str, path),
        severity=severity, family=family,  # type: ignore[arg-type]  # one of Severity, see above
        timed="timed" in table and need(table, "timed", bool, path),
        why=" ".join(need(table, "why", str, path).split()), limits=MappingProxyType(limits),
        player=tuple(table.get("player", ())), harp=tuple(table.get("harp", ())),
        sources=sources, examples=examples)


def _limit(entry: Table, path: Path, within: str) -> Limit:
    refuse_unknown(entry, ("value", "unit", "source"), path, within)
    value = entry.get("value")
    if isinstance(value, list):
        value = tuple(map(str, value))
    elif not isinstance(value, str):
        value = need(entry, "value", float, path, within)
    return Limit(value, need(entry, "unit", str, path, within),
                 need(entry, "source", str, path, within))


def _source(entry: Table, path: Path, within: str) -> RuleSource:
    refuse_unknown(entry, _SOURCE, path, within)
    kind = entry.get("kind", "")
    if kind:
        if kind not in KINDS:
            raise RuleError(f"{path}: {within}kind must be one of {', '.join(KINDS)}, not {kind!r}")
    else:
        need(entry, "author", str, path, within)
        need(entry, "title", str, path, within)
    return RuleSource(**{key: str(value) for key, value in entry.items()})
