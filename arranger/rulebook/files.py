"""Find and read the TOML files of ``rules/``; every error names the file and the key."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

from arranger.model.errors import ChoiceError, RuleError

Table = Mapping[str, Any]
T = TypeVar("T")
_KINDS: dict[type, str] = {str: "text", int: "a whole number", float: "a number", bool: "true or "
                           "false", list: "a list", dict: "a table"}


@cache
def rules_folder() -> Path:
    """Return the folder of rule files: inside the installed package, else in the source tree.

    Raises
    ------
    RuleError
        If there is neither; the installation is broken.
    """
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "rules", package.parent / "rules"):
        if folder.is_dir():
            return folder
    raise RuleError(f"{package / 'rules'}: the folder of rules is missing; install again")


def read_toml(path: Path) -> dict[str, Any]:
    """Read one TOML file.

    Raises
    ------
    RuleError
        If the file cannot be read or is not TOML; names the file.
    """
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise RuleError(f"{path}: cannot be read: {error}") from error
    except tomllib.TOMLDecodeError as error:
        raise RuleError(f"{path}: not TOML: {error}") from error


def named_file(folder: str, name: str, what: str) -> Path:
    """Return ``rules/<folder>/<name>.toml``.

    Raises
    ------
    ChoiceError
        If there is no such file; lists the names there are.
    """
    known = {path.stem: path for path in sorted((rules_folder() / folder).glob("*.toml"))}
    if name not in known:
        raise ChoiceError(f"unknown {what} {name!r}; choose one of: {', '.join(known)}")
    return known[name]


def need(table: Table, key: str, kind: type[T], path: Path, within: str = "") -> T:
    """Return ``table[key]``, which must be of this kind (a whole number serves as a float).

    Raises
    ------
    RuleError
        If it is missing, of another kind, or an empty text.
    """
    if key not in table:
        raise RuleError(f"{path}: {within}{key} is missing")
    value = table[key]
    if kind is float and type(value) is int:
        value = float(value)
    if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
        raise RuleError(f"{path}: {within}{key} must be {_KINDS[kind]}, not {value!r}")
    if value == "":
        raise RuleError(f"{path}: {within}{key} is empty")
    return value


def refuse_unknown(table: Table, known: Collection[str], path: Path, within: str = "") -> None:
    """Refuse keys that nobody reads: they are mostly slips of the pen.

    Raises
    ------
    RuleError
        Naming the first such key, or the table if it is no table.
    """
    if not isinstance(table, dict):
        raise RuleError(f"{path}: {within.rstrip('.')} must be a table, not {table!r}")
    for key in table:
        if key not in known:
            raise RuleError(f"{path}: unknown key {within}{key}")
