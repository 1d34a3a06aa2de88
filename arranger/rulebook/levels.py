"""How severe each rule is to be: a settings file, and single rules on the command line."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from arranger.model.errors import ChoiceError
from arranger.rulebook.files import need, read_toml, refuse_unknown
from arranger.rulebook.rules import rule

LEVELS = ("off", "advice", "warning", "error")


def load_levels(path: Path | None = None, single: Iterable[str] = ()) -> Mapping[str, str]:
    """Return code -> off, advice, warning or error for the rules that are set.

    Parameters
    ----------
    path : TOML file with a table ``[rules]`` of lines such as ``P3 = "warning"``.
    single : settings such as ``P3=off``; they win over the file.

    Raises
    ------
    ChoiceError
        Unknown rule or level.
    RuleError
        The file cannot be read or has other tables.
    """
    found: dict[str, str] = {}
    if path is not None:
        table = read_toml(path)
        refuse_unknown(table, ("rules",), path)
        for code, level in need(table, "rules", dict, path).items():
            found[_code(code)] = _level(str(level), f"{path}: rules.{code}")
    for text in single:
        code, equals, level = text.partition("=")
        if not equals:
            raise ChoiceError(f"--rule {text!r}: write CODE=LEVEL, such as P3=off")
        found[_code(code)] = _level(level.strip(), f"--rule {text!r}")
    return found


def _code(text: str) -> str:
    return rule(text.strip().upper()).code


def _level(text: str, where: str) -> str:
    if text not in LEVELS:
        raise ChoiceError(f"{where}: a level is one of {', '.join(LEVELS)}, not {text!r}")
    return text
